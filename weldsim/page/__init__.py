"""The local page: a workbench in the browser for a classroom or a shop.

`app.serve` starts it. `forms`, `drafts` turn the page's fields into a case and its mistakes into
messages beside them; `jobs` is the queue, `desk` the helper processes, `tasks` what they do,
`look` the quick look, `shape` the part as the page draws it, `runs` what is read from run folders,
`security` who may ask for what.
"""
