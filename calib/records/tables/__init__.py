"""The tables (ISO/IEC 17025:2017, 6.4.13 and 7.5), a file for each subject: a command imports those that it asks.

Values are kept as typed, as text: `1.10` stays `1.10`. Whoever asks the whole of the records imports `evidence`, which holds every
table.

Nothing is changed or deleted; how a record gives way follows from what refers to it:

- instrument, method, job, outlet: by a `..._revision`, the whole row again with its reason, of an instrument from when on; others
  hold its key, which stays;
- reading, refusal, conditions, check, event, pairing, file, design, room, competence: by a `retraction`, which names what took
  its place; nothing hangs on its key, and it counts at no time;
- certificate: by a `withdrawal`; by a `supersession` once the new one is accepted, whose `acceptance` names the one it carries
  on, so that no time is without a certificate;
- curve, factor, decision on a review, disposition, login, role, house rule, company, source, trust in a laboratory: by a later
  one, the latest counts; each is somebody's decision at a time;
- issued report: by its next revision; its bytes were handed out;
- `attempt`, `validation`, `backup`, `signature_verdict`: by nothing; they say what happened;
- a time, an entry of the ledger: by `clock_step`, `ledger_break`, QA's word that it is known; the chain itself stays.
"""
