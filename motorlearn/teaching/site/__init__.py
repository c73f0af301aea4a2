"""Everything for a lecture in one folder of pages that open without a network.

notebook_pages  A notebook with its stored outputs as one page; nothing in it runs or loads
folder          The folder: a first page, the class experiment, the demonstrations, the notebooks
"""
