// Forms that a passkey fills in: data-passkey says whether one is made ("create") or used ("get").
const bytes = text => Uint8Array.from(atob(text.replace(/-/g, "+").replace(/_/g, "/")), each => each.charCodeAt(0));
const text = buffer => btoa(String.fromCharCode(...new Uint8Array(buffer)))
  .replace(/\+/g, "-").replace(/\//g, "_").replace(/=+$/, "");
const named = list => (list || []).map(each => ({ ...each, id: bytes(each.id) }));

async function options(form) {
  const said = form.dataset.options ? JSON.parse(form.dataset.options)
    : await (await fetch(form.action, { headers: { Accept: "application/json" } })).json();
  return (said.creation_options || said.request_options).publicKey;
}

async function made(asked) {
  const selection = { ...asked.authenticatorSelection, residentKey: "required", requireResidentKey: true,
    userVerification: "required" };
  return navigator.credentials.create({ publicKey: { ...asked, challenge: bytes(asked.challenge),
    user: { ...asked.user, id: bytes(asked.user.id) }, excludeCredentials: named(asked.excludeCredentials),
    authenticatorSelection: selection } });
}

const used = asked => navigator.credentials.get({ publicKey: { ...asked, challenge: bytes(asked.challenge),
  allowCredentials: named(asked.allowCredentials), userVerification: "required" } });

function told(credential) {
  const response = {};
  for (const name of ["clientDataJSON", "attestationObject", "authenticatorData", "signature", "userHandle"]) {
    if (credential.response[name]) response[name] = text(credential.response[name]);
  }
  return JSON.stringify({ id: credential.id, rawId: text(credential.rawId), type: credential.type, response,
    clientExtensionResults: credential.getClientExtensionResults() });
}

for (const form of document.querySelectorAll("form[data-passkey]")) {
  form.addEventListener("submit", async sent => {
    sent.preventDefault();
    const failed = form.querySelector("[data-failed]");
    failed.hidden = true;
    try {
      const asked = await options(form);
      const credential = await (form.dataset.passkey === "create" ? made(asked) : used(asked));
      form.elements.credential.value = told(credential);
      form.submit();
    } catch {
      failed.hidden = false;
    }
  });
}
