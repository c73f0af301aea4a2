"""The whole suite: the collector of cycles looks rarely, as at the command line.

Libraries and collected tests are 700,000 objects; walking them again and again took a third of the
time that collecting the tests needs, and a tenth of that of running them.
"""

import gc

gc.set_threshold(200_000, 20, 100)
