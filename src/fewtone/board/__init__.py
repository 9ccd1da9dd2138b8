"""The board: what the commands do, as pages in a browser, for people who do not type commands.

It needs the extra ``fewtone[board]``. `server` opens it, `safety` says who may ask, `app` leads
from addresses to `pages`; a page makes the library calls of the command of its kind and fills in a
template. What a page works on travels in its address (`ticket`), so that two tabs do not disturb
each other.
"""
