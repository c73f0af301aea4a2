"""How anything reaches the disk: whole, or not at all, and nothing of somebody else's is lost.

names       Names of files and folders as they are meant; texts cut for a message
owned       What a run wrote into a folder, by list and checksum, and what is somebody else's
signed      A signature that only this user on this machine can give
unfinished  Unfinished work beside its target, signed by who does it; one run at a time
writing     Files and folders that take their place when they are whole
"""

from motorlearn.files.names import parsed_json, real_place, refuse_over_input, shortened
from motorlearn.files.owned import LISTED
from motorlearn.files.signed import is_signed, signature
from motorlearn.files.unfinished import locked
from motorlearn.files.writing import ensured_folder, new_file, new_folder, write_bytes, write_text

__all__ = [
    "LISTED",
    "ensured_folder",
    "is_signed",
    "locked",
    "new_file",
    "new_folder",
    "parsed_json",
    "real_place",
    "refuse_over_input",
    "shortened",
    "signature",
    "write_bytes",
    "write_text",
]
