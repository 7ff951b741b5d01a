"""Pages in a browser: the procedures and answers of this program, for whoever has a phone or a desk and no command line.

A page is one file of this folder with a template of its name in `templates/`, and its name in `PAGES` (order of the menu):

    pages = Pages()

    @pages.shows("/jobs/{job:name}", act="record")
    def job(visit: Visit, job: str) -> Filled:
        return Filled("job.html", answer.document(...visit.reading()...), title=job)

    @pages.takes("/jobs/{job:name}/notes", again=job, act="record")
    def note(visit: Visit, job: str) -> Goto:
        add_note(visit.writing(), job, visit.form["note"], visit.signature("job note"))
        return Goto(address("/jobs/{}", job), said="the note is written")

- `shows` is asked by GET, `takes` by POST. `act` is a name of `calib.confirmation.authority.ACTS`: who may not do it is refused
  (403). Without it everybody signed in may; `open_to_all=True` needs nobody signed in. `menu="Jobs"` puts it in the menu of those
  who may. A handler is a plain function, run in a thread; what stands in braces it gets as text, whatever signs are in it.
- A `Visit` says who it is (`person`, `roles`), gives sessions (`reading()`, `writing()`: durable together once the handler has
  returned, nothing where it raised; `reading_first()`, `writing_last()` as blocks), `signature(action)` and `at`, the time.
- A handler returns `Filled(template, content, title)`, `Goto(address, said)`, `Sent(bytes, kind)` or `Document(content)` (JSON).
  Templates extend `frame.html`, fill `{% block page %}` and see `content`, `visit`, `form`; fields come from `form.html`:
  `{% import "form.html" as parts with context %}`, `{{ parts.begin("/address") }}`, `{{ parts.field("note", "What was seen") }}`,
  `{{ parts.end("Keep") }}`; those of a form that confines a list from `filter.html`.
  Names in addresses: `{{ address("/jobs/{}", job) }}`. Assets: `{{ asset("name.js") }}` of `assets/`.
- What is wrong raises as everywhere: findings of a BadInputError stand beside the field of their column on the page of `again`,
  what was typed is kept; a DoubtError asks there, and `visit.form.is_sure` says that it was answered; every other CalibError is one
  line with a status. Files: `visit.form.file_read("photograph", "a picture", photograph)`, where what its reader finds wrong stands
  beside its field. JSON sent by `fetch`: `visit.form.document`; its token goes in the
  header `Calib-Token` (`<meta name="token">` has it). A page with `shows(..., again=True)` shows what was wrong with its address.
- Numbers and words come from `calib/faces/answers` and the procedures; a template does no arithmetic. No script and no style stands
  in a page (the browser is told to run none): both are files of `assets/`.
"""
