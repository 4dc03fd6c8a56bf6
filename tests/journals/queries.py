#!/usr/bin/env python3
"""Runs the queries of grammar/RECORDS.md over a folder of records and compares them with what
`stepbell tally --format json` says of the same folder. Needs the Python package duckdb.

  python3 tests/journals/queries.py FOLDER STEPBELL
"""
import json
import os
import re
import subprocess
import sys
import tempfile

import duckdb

folder, stepbell = os.path.abspath(sys.argv[1]), os.path.abspath(sys.argv[2])
here = os.path.dirname(os.path.abspath(__file__))
text = open(os.path.join(here, "../../grammar/RECORDS.md"), encoding="utf-8").read()
blocks = re.findall(r"```sql\n(.*?)```", text, re.S)
assert len(blocks) == 6, f"{len(blocks)} blocks of queries"
setup, ended, left, missed, late, many = (b.replace("records/*.jsonl", folder + "/*.jsonl") for b in blocks)

base = duckdb.connect()
base.execute(setup)
tally = json.loads(subprocess.run([stepbell, "tally", folder, "--format", "json"],
                                  stdout=subprocess.PIPE, check=True).stdout)

found = {(text, run, ending): n for _, text, run, ending, n in base.execute(ended).fetchall()}
told = {(s["script_sha256"][:8], "rehearsal" if s["rehearsal"] else "live", ending): n
        for s in tally["scripts"] for ending, n in s["endings"].items()}
assert found == told, (found, told)

found = {(step, line): (met, low, half)
         for step, line, met, _, low, half in base.execute(left).fetchall()}
assert len(tally["scripts"]) == 1, "the windows are compared for one text"
told = {(w["step"], w["line"]): (w["met"], w["left_ms"]["5%"], w["left_ms"]["50%"])
        for w in tally["scripts"][0]["windows"] if w["left_ms"]["50%"] is not None}
assert found == told, (found, told)

found = {(step, line): n for step, line, n in base.execute(missed).fetchall()}
told = {(w["step"], w["line"]): w["missed"]
        for w in tally["scripts"][0]["windows"] if w["missed"]}
assert found == told, (found, told)

rows = base.execute(late).fetchall()
assert rows and all(half > 0 and high >= half for _, _, half, high in rows), rows

with tempfile.TemporaryDirectory() as bench:
    os.chdir(bench)
    for statement in many.split(";"):
        if statement.strip():
            rows = base.execute(statement).fetchall()
    assert rows[0][0] == tally["counted"] and rows[0][1] > 0, rows
print(f"queries agree with the tally of {tally['counted']} records")
