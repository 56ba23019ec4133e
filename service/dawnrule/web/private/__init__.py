"""Pages and feeds for phones, calendars and spreadsheets, with a private address in place of a key.

- ``addresses``: their paths; ``visitor``: the athlete of a token.
- ``check_in_page``: today's check-in and its advice; ``form``: answers on the page to check-ins,
  and back.
- ``feeds``: today's advice as text and JSON; ``calendar``: the outlook as iCalendar.
"""
