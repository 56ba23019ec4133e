"""HTTP machinery that all views share.

- ``requests`` and ``responses``: bodies in and out; ``problems``: errors as problem details.
- ``authorization``: the access table; ``login``: coaches in a browser; ``rate_limits``.
- ``locale``: the language of a request.
"""
