"""The pages: Django over the desk. A view fetches a desk result and shows it; it holds no rule of the job.

site        settings, the book behind the pages, first start     rights      who may open what: one table
people      accounts, roles, invitations that expire             urls        made from the table, each view guarded
guard       log-in, store, role; strangers get "not found"       shown       desk results kept while the book stands still
speech      language of a request; the desk's sentences in it    views/      one module for each question a page answers
templates/  static/  locale/                                     our own words, look and typeface

Django is imported inside functions and modules here only; `drybank open` imports this room when it runs.
"""
