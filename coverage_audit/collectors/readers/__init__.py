"""What is asked of a box and how its reply is read; no reader knows a transport.

A tree is listed in one of four ways, chosen by what the box really has (`collectors.ways`), never by its name:

scan_tree  this machine: scandir, by a few processes
find_tree  GNU find
stat_tree  find and stat of BusyBox, the BSDs, macOS
sftp_tree  no commands, files over SFTP alone

All give the same rows of the same tree, but for what a manifest's origin says that the way lacks and how exact its
times are. What is the same in all of them:

- A symbolic link is never followed but as the root; its row has its target, byte for byte, and the target's length as
  its size. A link whose target could not be read is a blind place and no row.
- Hard links are as many rows as names; each says how many names its file has (`links`), where the way tells.
- A sparse file has its apparent size; what it takes up stands in `blocks`, where the way tells.
- Device nodes, pipes, sockets and the like are of the kind "other"; that they are there is all that is compared.
- Names are bytes. Two that differ in case or in normal form only are two rows.
- Another filesystem mounted inside, a btrfs subvolume, a folder bound into the tree: a row, and a blind place. Over
  SFTP a folder bound from the same filesystem cannot be told from any other.
- An unreadable folder is a row and a blind place; an entry that vanished meanwhile is counted.
"""
