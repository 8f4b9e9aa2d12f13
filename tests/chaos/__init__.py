"""What happens when processes are killed, the broker forgets or dies, and clocks are doubled: nothing is lost, nothing
is done twice. Short by default; the whole of it by `make chaos`."""
