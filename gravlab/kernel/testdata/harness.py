"""Runs Debian's jupyter_kernel_test against the installed kernel "gravlab".

The harness covers what the protocol may hold; a sample that is left empty
skips its test. With the argument "completion" only completion and inspection
are tested. Prints one JSON object: which tests passed, failed, were skipped.
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


class Completion(jupyter_kernel_test.KernelTests):
    kernel_name = "gravlab"
    # The harness counts the cursor from the start of the text.
    completion_samples = [{"text": "%%\nfmt.Printl", "matches": ["Println", "Fprintln", "Sprintln"]}]
    code_inspect_sample = "%%\nfmt.Println"

    @classmethod
    def setUpClass(cls):
        super().setUpClass()
        # The first request waits until gopls has read the module.
        cls.kc.complete("%%\nfmt.Pri")
        cls.kc.get_shell_msg(timeout=80)


case = Completion if "completion" in sys.argv[1:] else Gravlab
result = unittest.TestResult()
unittest.defaultTestLoader.loadTestsFromTestCase(case).run(result)
names = {t._testMethodName for t in unittest.defaultTestLoader.loadTestsFromTestCase(case)}
failed = {t.id().rsplit(".", 1)[-1]: text for t, text in result.failures + result.errors}
skipped = {t.id().rsplit(".", 1)[-1] for t, _ in result.skipped}
print(json.dumps({
    "run": result.testsRun,
    "passed": sorted(names - set(failed) - skipped),
    "failed": failed,
    "skipped": sorted(skipped),
}))
