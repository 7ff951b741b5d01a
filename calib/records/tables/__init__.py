"""The tables (ISO/IEC 17025:2017, 6.4.13 and 7.5), a file for each subject: a command imports those that it asks.

Values are kept as typed, as text: `1.10` stays `1.10`. Whoever asks the whole of the records imports `evidence`, which holds every
table.
"""
