"""Practice orders.

balanced_orders  Orders of tasks that balance position and carry-over (Williams designs)
random_orders    Counts and chance of a random order under a cap on runs
schedule         Practice orders: blocked, serial, random with a cap on runs, constant, variable
task_orders      Which task each participant does on each trial of an invented or planned study
"""
