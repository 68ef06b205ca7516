"""Runs Debian's jupyter_kernel_test against the installed kernel "gravlab".

The harness covers what the protocol may hold; a sample that is left empty
skips its test. Prints one JSON object: which tests passed, failed, were skipped.
"""
import json
import sys
import unittest

import jupyter_kernel_test


class Gravlab(jupyter_kernel_test.KernelTests):
    kernel_name = "gravlab"
    language_name = "go"
    file_extension = ".go"
    code_hello_world = '%%\nfmt.Println("hello, world")'
    code_stderr = '%%\nfmt.Fprintln(os.Stderr, "to the error output")'
    # A panic would bring its stack as text before the error; the harness wants the
    # error alone.
    code_generate_error = '%%\nundeclared()'
    code_display_data = [
        {"code": 'import "gravity.example/gravlab/show"\n%%\nshow.HTML("<b>bold</b>")', "mime": "text/html"}
    ]
    if "completion" in sys.argv[1:]:
        completion_samples = [{"text": "fmt.Printl", "matches": ["Println"]}]


result = unittest.TestResult()
unittest.defaultTestLoader.loadTestsFromTestCase(Gravlab).run(result)
names = {t._testMethodName for t in unittest.defaultTestLoader.loadTestsFromTestCase(Gravlab)}
failed = {t.id().rsplit(".", 1)[-1]: text for t, text in result.failures + result.errors}
skipped = {t.id().rsplit(".", 1)[-1] for t, _ in result.skipped}
print(json.dumps({
    "run": result.testsRun,
    "passed": sorted(names - set(failed) - skipped),
    "failed": failed,
    "skipped": sorted(skipped),
}))
