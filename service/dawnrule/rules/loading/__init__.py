"""Loading: from a YAML file to a rule set, with every fault named by its line.

Reading order:

- ``loader``: the way from text to a ``RuleSet``, its digest, and the bundled files.
- ``published_files``: those that need no check when the service starts.
- ``yaml_reader``: strict YAML whose values know their lines.
- ``json_schema``: the form of a rule file.
- ``condition_parser``: conditions and their faults.
- ``reason_template``: placeholders of a reason.
- ``extension``: a rule set that extends another, written out in full.
"""
