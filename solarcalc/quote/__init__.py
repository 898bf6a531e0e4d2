"""Bill of materials, prices, what a kWh costs over the life, and what it saves.

An installation becomes a `bill`, priced by `prices`, and becomes an `offer`; `economics` and
`sensitivity` reckon over the life; `answer` says it in words and tables, `export` in files.
"""
