"""The local page: a workbench in the browser for a classroom or a shop.

`app.serve` starts it and `answers` says what each address answers. `forms` and `drafts` turn the
page's fields into a case and its mistakes into messages beside them. `jobs` is the queue and
`ledger` its files, `desk` the helper processes and `tasks` what they do, `look` the quick look,
`shape` the part as the page draws it, `runs` what is read from run folders, `security` who may ask
for what, `locks` a lock that ends with its process.
"""
