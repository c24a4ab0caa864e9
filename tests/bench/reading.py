"""Reads a workbook cell by cell with openpyxl, for tests/bench/reading.rs.

Arguments: `streamed` (read-only, values alone) or `whole`, and the file. Answers with seconds, cells and
peak memory in MB. No value is checked: each is read once.
"""

import resource
import sys
import time

try:
    import openpyxl
except ImportError:
    sys.exit(3)

way, path = sys.argv[1:]
start = time.perf_counter()
book = openpyxl.load_workbook(path, read_only=way == "streamed")
cells = 0
for sheet in book.worksheets:
    for row in sheet.iter_rows(values_only=True):
        cells += sum(value is not None for value in row)
seconds = time.perf_counter() - start
print(seconds, cells, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)
