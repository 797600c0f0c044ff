"""Texts of the proofs: what verification finds, the head, the auditor's package and its README."""

from __future__ import annotations

from typing import Final

WORDS: Final[dict[str, str]] = {
    # What verification finds; {place} is table and column
    "fault.value": "entry {entry}, {place}: the row says {found}, the statement {said}",
    "fault.type": "entry {entry}, {place}: the row holds {found}, which is no value of this column; the statement says {said}",
    "fault.row missing": "entry {entry}: its row in {table} is missing (the statement says {said})",
    "fault.row added": "entry {entry}: {table} holds a row that the statement does not say ({found})",
    "fault.row alone": "{place}: a row names {found}, and there is no such entry",
    "fault.entry missing": "entry {entry} is missing",
    "fault.unreadable": "entry {entry} cannot be looked at: its rows, or what leads to them, lie on a damaged page of the file ({found})",
    "fault.unreadable.several": "entries {entry} to {upto} cannot be looked at: their rows, or what leads to them, lie on a damaged page of the file ({found})",
    "fault.unreadable.beside": "something beside the entries cannot be looked at: it lies on a damaged page of the file ({found})",
    "fault.unreadable.table": "{table}: a page of it, or of one of its indexes, is damaged ({found}); entries that cannot be looked at for it are named apart",
    "fault.entry missing.several": "entries {entry} to {upto} are missing",
    "fault.statement missing": "entry {entry} has no statement: it was put in behind the tool's back, or its statement was deleted",
    "fault.statement changed": "entry {entry}: its statement was changed ({found}); its leaf and its rows say otherwise ({said})",
    "fault.statement form": "entry {entry}: its statement is not in canonical form, or cannot be read",
    "fault.leaf": "entry {entry}, {place}: the kept leaf is {found}; the statement gives {said}",
    "fault.statement site": "entry {entry}, {place}: the statement is filed under site {found}, the entry under {said}",
    "fault.order": "no head is kept at entry {entry}, where one commit ended: it was deleted",
    "fault.root": "{place} of {entry} entries is {found}; the entries give {said}: something before was changed",
    "fault.frontier": "{place} of the head of {entry} entries is not what the entries give",
    "fault.key of a head": "{place} of the head of {entry} entries is {found}; the key in force is that of entry {said}",
    "fault.signature": "{place} of the head of {entry} entries is not that of the book's key",
    "fault.head ahead": "a head covers {found} entries, and the book has {said}: its end was cut off",
    "fault.head behind": "the newest head covers {found} entries, and the book has {said}: the last ones were not written by the tool",
    "fault.not computed": "the root of the head of {entry} entries cannot be computed: entries before it are missing or cannot be read",
    "fault.sign-off": "entry {entry}, {place}: the sign-off is bound to {found}; what it stands under is {said}",
    "fault.signed by author": "entry {entry}: {found} signed off entry {said}, which they wrote or did themselves",
    "fault.reference": "entry {entry}, {place}: it names {found}, which is not there or not of that kind",
    "fault.guard": "{table}: the guard against changes is missing or was changed ({found})",
    "fault.shape": "{table}: the table is missing, is not as the tool makes it, or something else stands in its place",
    "fault.index": "{table}: the index {found} is missing, is not as the tool makes it, or is switched off",
    "fault.index row": "{table}: the index {found} does not lead to each row once: whoever asks by it is not told all, or too much",
    "fault.index row.one": "entry {entry}, {table}: the index {found} does not lead to this row: whoever asks by it is not told of it",
    "fault.revision": "{place}: the mark of the revision is {found}, and these are tables of revision {said}: commands refuse the book, or would change it to fit another",
    "fault.foreign": "{table}: {found} was not made by the tool; it may hide rows, or change or swallow what is written",
    "fault.file": "the database's own check of the file says: {found}",
    "fault.unsigned entries": "entries {entry} to {upto} lie under heads without a signature, so the key that you gave does not vouch for them: whoever held the "
    "database could have written them anew without it",
    "fault.unsigned": "the head of {entry} entries is not signed",
    "fault.kept root": "the head of {entry} entries that you kept has the root {said}; the book now gives {found}: something in these entries was changed",
    "fault.kept ahead": "the head that you kept covers {said} entries, and the book has {found}: its end was cut off",
    "fault.kept signature": "the head of {entry} entries that you kept is not signed by the key that this book names for it: a key was exchanged, or one that was replaced signed it",
    "fault.kept other book": "the head that you kept is of {said}; this book is {found}",
    "fault.not the given key": "the newest head is signed by {found}, not by the key that you gave ({said})",
    "fault.key not vouched for": "entry {entry} names the key {found} in the place of {said}, which did not sign that it hands over, and no head that you kept is from after it. Whoever can "
    "change the database can have made that key, or had a copy of it if the book had it before, and made all entries after the newest head that you kept. Where the old key was "
    "lost, or an older one was taken again, it looks the same: whoever knows from elsewhere which is the key of today gives it with --public-key",
    "fault.nothing": "nothing",
    # What verification saw
    "verify.intact": "{n} of {all} entries say in every value what was said when they were written.",
    "verify.heads": "Heads that are kept: {n}, signed: {signed}; the newest covers {size} entries.",
    "verify.heads.none": "No head is kept.",
    "verify.keys": "Key since entry {entry}: {digits}",
    "verify.keys.handed": "(handed over by the key before it, by its signature)",
    "verify.keys.again": "The heads that you kept lead to the key that entry {entry} names again, and it signed since. Key {other} signed before, without its hand-over. If the older one was "
    "replaced because somebody else may have it, they can have named it again and made all entries after {size}: a head from after the entry of the other key tells, or the key of today (--public-key).",
    "verify.keys.alone": "(NOT handed over by the key before it: the book alone says that it took its place)",
    "verify.kept.holds": "The book still begins as the head of {size} entries says that you kept.",
    "verify.kept.signature": "The book begins as the head of {size} entries says that you kept, but the book's signature under that head is not that of its key then.",
    "verify.kept.not": "The book does NOT begin as the head of {size} entries says that you kept.",
    "verify.unsigned": "Heads without a signature: {n}. The book does not say why they have none. This is told, and is a fault with --strict and with --public-key:",
    "verify.unsigned.entries": "entries {first} to {last}, heads: {heads}; signed before: {before}; signed after: {after}. Whoever held the database could have written "
    "these entries anew without the key; the next signature is over what was found then.",
    "verify.unsigned.head": "the head of {size} entries",
    "verify.unsigned.none": "none",
    "verify.unsigned.kept": "For entries up to {size} the head speaks that you kept: they are as they were when you took it.",
    "verify.own.one": "1 sign-off stands under work that bears another name of who signed it: it was given before such sign-offs were refused, or names were "
    "changed since. This is told and is no fault of the seal; a second person should look at the work, and sign it:",
    "verify.own.many": "{n} sign-offs stand under work that bears another name of who signed it: they were given before such sign-offs were refused, or names "
    "were changed since. This is told and is no fault of the seal; a second person should look at the work, and sign it:",
    "verify.no_right.one": "1 sign-off bears a name that no open account which may sign off had at that time: a command on the server gave it, and no password "
    "stands behind it. Have a person look at it.",
    "verify.no_right.many": "{n} sign-offs bear names that no open account which may sign off had at that time: commands on the server gave them, and no "
    "password stands behind them. Have a person look at them.",
    "verify.no_right.line": "entry {entry}: {name} signed off entry {signed}",
    "verify.own.line": "entry {entry}: {name} signed off entry {signed}, where {other} stands; one account has had both names",
    "verify.first": "The first thing that does not fit:",
    "verify.more": "Further:",
    "verify.counts": "In all: {counts}.",
    "verify.unreadable": "Do not write to the book. Keep the file as it is, and take the last backup: driftbook restore FILE --book NEW; what could be "
    "looked at is as told above.",
    "verify.damaged": "What has to be read first is damaged, so no entry can be held against its statement. Do not write to the file, keep it as it "
    "is, and take the last backup: driftbook restore FILE --book NEW",
    "verify.fits": "Nothing was changed since it was written, as far as the book itself can show.",
    "verify.fits.kept": "Nothing was changed in the first {size} entries since the head over them was taken that you kept.",
    "verify.fits.after": "Nothing was changed after them either, as far as the book itself can show.",
    "verify.fits.key": "Nothing was changed since it was written, by anybody who does not hold the book's key.",
    "verify.covers": "This speaks for the history: every value of it, statements, tree and heads, and tables, indexes and guards as the tool makes them. It does not speak for "
    "what no statement says: passwords, tokens, secret addresses, sessions, the rows of the log of sign-ins, and the answers that are kept for requests of programs that come again. "
    "Whoever can change the database can change those.",
    "verify.covers.server": "On this server indexes were compared by their definitions only, not row by row: that needs its extension amcheck, and the right to use it.",
    "verify.hint": "Who can change the database and make a new key can forge both. Hold it against a head that is kept elsewhere (--against FILE), or the key as you know it from elsewhere "
    "(--public-key HEX).",
    "verify.file.head": "'{name}' holds no head: {fault}.",
    "verify.file.head.remedy": "Give a file that 'driftbook head' wrote, or the line that you wrote down.",
    "verify.file.key": "'{asked}' is no public key: 64 hexadecimal digits are expected.",
    "key.replaced": "Whoever has a copy of the key before can still make packages that fit in themselves. A head that is kept elsewhere from now on tells them: driftbook head -o FILE",
    "key.again": "This key signed before. Beside heads to which it was the key in force, and from before another took its place, book and packages pass, unless it had handed over to another since.",
    "key.alone": "The old key did not sign that it hands over. So packages do not pass beside heads from before this entry (verify.py --head, status 3), nor does the book (verify --against, status 1): "
    "anybody who can change the database could have done the same. Tell those who keep heads the new key by another way, and let a head go to them now.",
    "key.old.kept": "The old key lies in {path}. Keep it from others as before.",
    "key.old": "An old key was named, and no key is set by it.",
    "key.why": "A reason was given, and no key is set by it.",
    "key.why.remedy": 'Type: driftbook key --set --why "…", or leave the reason out to see the keys.',
    # Heads out
    "head.none": "The book has no head yet.",
    "head.none.remedy": "Type: driftbook upgrade",
    "head.there": "The head of {size} entries stands in {path} already.",
    "head.other": "{path} holds heads of another book ({others}); this is {origin}, and its head was not added.",
    "head.other.remedy": "Name another file, one for each book: -o FILE. With heads of two books in it, 'driftbook verify --against FILE' would find a fault in either.",
    "head.written": "Added the head of {size} entries to {path}.",
    "head.other_key": "After the head of {size} entries in {path}, entry {entry} names ANOTHER KEY, and the key before it did not sign that it hands over ('driftbook key'). With this head "
    "the file speaks for that key: make sure by another way that the key of the book was replaced, for the book alone says it.",
    "head.first_key": "After the head of {size} entries in {path}, entry {entry} names the FIRST KEY of the book. With this head the file speaks for that key: make sure by another way "
    "that the book got one, for the book alone says it.",
    "head.ahead": "{path} holds a head of {size} entries, and this book has only {here}: its END WAS CUT OFF, or it is an older copy. Find out why before anybody goes on: "
    "driftbook verify --against FILE",
    "head.other_root": "The head of {size} entries in {path} is NOT A BEGINNING OF THIS BOOK: entries up to there were changed since, or this is another copy that went on otherwise. "
    "Find out why before anybody goes on: driftbook verify --against FILE",
    "head.signer": "The head of {size} entries in {path} is NOT SIGNED BY THE KEY that this book names for it. Find out why before anybody goes on: driftbook verify --against FILE",
    "head.unsigned": "It is not signed: by itself it does not show who made it.",
    "head.mail.subject": "Head of the book {origin}: {size} entries",
    "head.mail.body": (
        "This is the head of {origin} over {size} entries, made on {at}.\n\n{note}\n"
        "Keep this message where nobody who looks after the book can change it. A year from now it proves that nothing\n"
        "in these entries was changed: driftbook verify --against FILE, with the attached file."
    ),
    # On the pages
    "proof.title": "What proves this book",
    "proof.about": (
        "Each commit leaves a head: how many entries there are, and one number into which every word of them goes. Who kept an "
        "older head elsewhere can show with it that nothing before it was changed."
    ),
    "proof.head": "Head of {size} entries, kept on {at}",
    "proof.signed": "signed by the key of entry {entry}",
    "proof.not_signed": "not signed",
    "proof.unsigned": "Without a signature: {n} of {all} heads.",
    "proof.none": "No head is kept yet. ‘driftbook upgrade’ makes the first one.",
    "proof.copy": "Copy or write down these lines, and keep them where nobody who looks after the book can change them.",
    "proof.verify": "‘driftbook verify’ computes everything again from the rows and names what does not fit.",
    "proof.package.link": "auditor's package (ZIP)",
    "proof.package.unsigned": "It is NOT signed: the key of the book cannot be read here, or the newest head was written without it. verify.py says so, and does "
    "not let it pass. Make it where the key file lies, after something was recorded there.",
    "proof.package": "Auditor's package of {tag}",
    "proof.package.about": (
        "A ZIP file with every entry of this machine and all that they rest on, the proofs, a readable history, and a small program "
        "that checks it with nothing but Python."
    ),
    "package.readme": """\
HISTORY OF {tag}, FOR WHOEVER HAS TO CHECK IT

Made on {at} from the book {origin} of the site {site}.
Made by {maker}.

What is here
  history.pdf         the history of the machine, for reading (where it could be printed)
  jobs.csv            every version of every job, one line each, in mm, mm/m, rpm and degrees Celsius; moments are
                      microseconds since 1970 in UTC; it is made from the statements word for word, but for an apostrophe
                      before a text that a spreadsheet would take for a formula
  statements.jsonl    what each entry says, one line an entry: the machine with all records that were merged with it, before or
                      since, their jobs with every later version, under whatever record it stands, sign-offs, and the limits, people, instruments, imported files, accounts and site settings that they rest on
  proofs.jsonl        for each statement the proof that it is in the book that the head names
  head.txt            the head: name of the book, number of entries, root of the tree over them, signature
  older_heads.jsonl   older heads, each with the proof that the book only grew since
  keys.txt            public keys of the book (Ed25519), each with the entry that named it
  manifest.txt        the list of all these files with their SHA-256, signed by the key of the book
  verify.py           a small program that checks all of it; it needs nothing but Python 3.9 or newer

How to check it
  Take verify.py out of the package and type:  python3 verify.py PACKAGE.zip
  Take it from another package if you do not trust this one: it is the same for every book of one version.
  With heads that you kept elsewhere:          python3 verify.py PACKAGE.zip --head KEPT.txt
  With the public key of today as you know it: python3 verify.py PACKAGE.zip --key HEX
  KEPT.txt may hold many heads, as 'driftbook head -o KEPT.txt' adds them: each of them is checked, by its root and by its own
  signature. Keep heads with their last line, the signature. The newest of them must be no newer than the package.
  It says what holds, and stops at the first thing that does not. One changed byte anywhere is noticed, unless somebody took
  the signatures away to change more: then it says NOT SIGNED and what nothing vouches for, and does not say that all fits.
  Its exit status: 0 everything fits and is signed by the newest key that is named here; 1 something does not fit, or a key
  is named and it did not sign; 2 a file or what was typed could not be read; 3 it fits in itself, and no key is named, or
  the heads that you kept do not vouch for the key that signed. 0 without --head and --key says that it fits in itself,
  and nothing of who made it.

What it shows, and what it cannot show
  It shows that each statement is, word for word and in its place, in the book that the head names, that every entry which
  one of them names is here too, and that whoever holds the newest key that is named here signed head and list.
  It cannot show by itself that the head is that of the real book: anybody can make a package that fits, with a key of their
  own, or put entries of their own behind those of a true one, the first of them naming their key. Compare the head with one that is kept elsewhere, by another person (--head). The
  newest heads and one of each month are provided for; 'driftbook history TAG --package OUT.zip --kept FILE' makes a package
  that is provided for any other.
  It does not show that no entry was left out. Only some entries of the book are here (verify.py says how many of how many),
  and that another one voids or amends a job, that alone the book knows. Whoever has the book finds out with
  'driftbook verify --package PACKAGE.zip', which names what the package leaves out or says otherwise. A signed list shows
  that nothing was taken out by anybody who did not hold the key that signed it.
  When a key of the book is replaced, the old one can sign that it hands over to the new one; verify.py says so. Where it was
  lost it cannot, and a new key that nobody vouches for looks the same whether the book or a stranger named it. Then verify.py
  does not take the new key beside a head from before it, and ends with 3. Ask whoever answers for the book for its key, by
  another way than this package came, and type it behind --key; or use a head from after the new key was named. Where the key to
  which your heads lead was named again behind such a one, and signed since, it is taken, and verify.py says what is open:
  if it was replaced because somebody else may have it, they can have done that.
  The entry that names another key can be left out like any other. So whoever has a copy of a key that the book has replaced
  can make a package that fits: without the entry that replaced it, without others, with entries that never were, or handed
  over to another key. No package can show by itself that its key was not replaced. That is shown by a head that you kept
  with its signature, from after the key was replaced (--head: the signature is that of another key, and the package does not
  pass), or by the key of today (--key). Up to the newest head that you kept, all that is here is as it was then; for entries
  after it the package rests on the key of that head, and on those to which it was handed over. A head without its signature
  shows the first of these, and of keys that those named up to it are the book's; not that none is left out.
  It shows who was signed in or gave their name, not that this was the person; and that a reading was recorded, not that it
  was right. Of a sign-off it compares names, as they are written: names of one person that are written otherwise are told
  where only capitals, signs, blanks or the order of words differ.

Before you touch a machine: isolate it, lock out and tag, and check that it cannot turn. The maker's limits and local codes
come first.
""",
}
