"""Reads a workbook with a second implementation and prints it as JSON: sheets -> rows -> [type, value]."""
import json
import sys

import openpyxl

book = openpyxl.load_workbook(sys.argv[1])
json.dump({s.title: [[[c.data_type, c.value] for c in row] for row in s.iter_rows()] for s in book}, sys.stdout)
