"""The programming interface under /api/v1/: the desk's functions for phones and programs, in JSON.

app.py     the interface made from the table in `drybank.web.rights`, with its OpenAPI description
guard.py   who asks (session or device token), whether they may, how often
said.py    answers and refusals as JSON: what is wrong, how to mend it; never a page, never a redirect
limits.py  how often somebody may ask
calls/     the calls; each takes the request and the seat and gives a desk result
"""
