"""The library as files that ``setups.imports`` reads again without loss.

sources   what the library holds, a row at a time, in the columns of ``setups.imports.kinds``
writing   rows as CSV or as JSON Lines

A file does not hold what is computed (geometry, verdicts, standing: computed anew when it is loaded), photos,
drafts, what members own, or anything about a member but their username and the name that pages show.
"""
