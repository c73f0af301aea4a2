"""The plan and its people: ``timeline``, ``orders`` of tasks, ``load``, ``flow``, ``power``."""
