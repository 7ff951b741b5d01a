"""The manual: pages that `calib help TOPIC` shows, one text file a topic, laid out as plain text as wide as the terminal.

Sources are Markdown of the plainest kind, so that they read as well where they stand. Some eighty lines here lay them out, rather
than a library: the one that comes with typer takes 0.2 s to import, centres headings, frames code in boxes and colours it.
"""
