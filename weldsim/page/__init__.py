"""The local page: a workbench in the browser for a classroom or a shop.

`app.serve` starts it, `security` says who may ask for what, `bench` holds what the addresses share
and the modules `routes_...` say what each answers. `fields` and `case_form` turn the page's fields
into a case and its mistakes into messages beside them, `case_text` keeps a user's comments.
`queue` puts jobs in order: `job_store` keeps them in files, `run_lane` has runs done in processes
of their own (`run_process`, `run_task`), `preview_lane` previews in a `worker`, `events` says what
becomes of a job, `locks` keeps two processes off one folder. `tasks` is what a worker does
(`worker_process`), `preview` the preview, `shape` the part as the page draws it, `runs` what is
read from run folders (`run_facts` for a list of them).

Studies are jobs like runs: `study_request` says what may be asked, `study_task` answers it in a
process of its own (`job_process`), `studies` reads what it left, `sheets` draws bench sheets.
`costs` estimates what a job takes before it is begun, `speed` corrects that by what this machine
took before, `files` names what a browser saves.
"""
