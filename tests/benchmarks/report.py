"""Time the report and the audit of the shipped study, each cold, in a process of its own.

Run ``python tests/benchmarks/report.py``. There is no general-purpose peer for a whole report.
"""

import tempfile

from row import alone, tell

import motorlearn as ml

COMMAND = "from motorlearn.commands import main; main()"
AUDIT = "import motorlearn as ml; ml.report.audit_study(ml.read_study({study!r}))"


def main() -> None:
    """Write the report, write it again after a change of words, and audit the study."""
    study = str(ml.trials.shipped_study())
    with tempfile.TemporaryDirectory() as folder:
        report = ["-c", COMMAND, "report", study, "--out", f"{folder}/report"]
        audit = alone(["-c", AUDIT.format(study=study)])
        tell("audit of the shipped study, cold", **audit, most=10)
        tell("whole report of the shipped study, cold", **alone(report), most=20, most_gib=1)
        tell("its rerun after a change of words", **alone([*report, "--final"]), most=5)


if __name__ == "__main__":
    main()
