"""The words of the trade and our own, one meaning each, for whoever reads a page, a paper or the API.

`glossary.json` has chapters with a title and terms; a term has an anchor (its address on the page, which stays), the
word and what we mean by it.
"""

import json

from fleet.presentation.sentences import FOLDER, in_own_words

CHAPTERS = in_own_words(json.loads((FOLDER / "glossary.json").read_text()))
