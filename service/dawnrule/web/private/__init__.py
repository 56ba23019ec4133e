"""What a phone, a calendar or a spreadsheet sees, with a private address in the place of a key.

- ``paths``: where private addresses lie. ``visitor``: whose address it is, and what may be kept.
- ``feeds``: today's advice as text and JSON, and the outlook as a calendar (``calendar``).
- ``page``: the page on which today's check-in is sent. ``day``: what it starts from, with the
  plans that can be chosen (``planned``); ``answered`` and ``sent``: a check-in as answers on
  the page, and back; ``heeded``: what is taken whatever is wrong with the rest; ``told``: what the
  page says.
"""
