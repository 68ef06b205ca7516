"""Runs a notebook with nbclient. Prints one JSON object.

Arguments: notebook, seconds a cell may take, "interrupt" or "stop".
"""
import json
import sys

import nbclient
import nbformat

nb = nbformat.read(sys.argv[1], as_version=4)
client = nbclient.NotebookClient(
    nb, timeout=int(sys.argv[2]), kernel_name="gravlab",
    interrupt_on_timeout=sys.argv[3] == "interrupt", allow_errors=sys.argv[3] == "interrupt",
)
error = ""
try:
    client.execute()
except Exception as e:  # what a user of nbclient would see
    error = type(e).__name__
nbformat.validate(nb)
print(json.dumps({
    "error": error,
    "counts": [c.execution_count for c in nb.cells if c.cell_type == "code"],
    "text": ["".join(o.get("text", "") for o in c.outputs) for c in nb.cells if c.cell_type == "code"],
    "errors": [[o["evalue"] for o in c.outputs if o["output_type"] == "error"] for c in nb.cells if c.cell_type == "code"],
}))
