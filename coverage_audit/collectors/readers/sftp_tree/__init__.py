"""A box that runs no commands and offers its files over SFTP alone: its trees, names, rooms, second looks and content.

packets     what is said, byte for byte (SFTP version 3); names are bytes
session     questions and answers, many under way at a time
walking     a tree and its proof
names       one folder
facts       the box and its volumes, as far as such a box shows them
looks       a second look at named paths
content     what is in named files

A listing is whole when every folder ended with the server's own end of file, every question was answered, and the root
listed once more holds as many names as before. What SFTP does not tell (ctimes, links, blocks) the manifest lacks;
and where a folder is bound into the tree from the same filesystem it is not noticed. An entry that the server cannot
look at it leaves out, which is seen of folders that may not be searched and of paths that are too long, not of others.
Times are whole seconds in 32 bits: what lies before 1970 comes as a time after 2038, which no comparison believes.
"""

from __future__ import annotations

from coverage_audit.collectors.readers.sftp_tree.content import hash_over_sftp, read_over_sftp
from coverage_audit.collectors.readers.sftp_tree.facts import box_facts, real_path, room_facts
from coverage_audit.collectors.readers.sftp_tree.looks import look_over_sftp
from coverage_audit.collectors.readers.sftp_tree.names import Entry, listed_names
from coverage_audit.collectors.readers.sftp_tree.session import Session
from coverage_audit.collectors.readers.sftp_tree.walking import walk_over_sftp

__all__ = [
    "Entry",
    "Session",
    "box_facts",
    "hash_over_sftp",
    "listed_names",
    "look_over_sftp",
    "read_over_sftp",
    "real_path",
    "room_facts",
    "walk_over_sftp",
]
