"""Which filesystems can hold data that somebody would mind losing, and which of them lie on another machine.

By kind, never by name or place: the kernel's own views (proc, sysfs, cgroup ...), memory (tmpfs) and packed program
images (squashfs) hold nothing of the owner's. The kinds are those of Linux's `Documentation/filesystems` and of
FreeBSD's mount(8) with the pages it names.
"""

from __future__ import annotations

from typing import Final

_VIEWS: Final = """
proc sysfs devtmpfs devpts devfs fdescfs procfs linprocfs linsysfs kernfs ptyfs cgroup cgroup2 pstore bpf tracefs
debugfs securityfs configfs fusectl mqueue hugetlbfs rpc_pipefs nfsd binfmt_misc efivarfs autofs selinuxfs nsfs
resctrl sockfs pipefs openpromfs fuse.lxcfs fuse.portal fuse.gvfsd-fuse fuse.snapfuse none
"""
_MEMORY: Final = "tmpfs ramfs mfs swap rootfs"
_IMAGES: Final = "squashfs erofs cramfs romfs"
_NETWORK: Final = """
nfs nfs3 nfs4 cifs smb smb2 smb3 smbfs ncpfs afs afpfs ceph lustre glusterfs gfs2 ocfs2 beegfs 9p virtiofs davfs
webdav coda fuse.sshfs fuse.rclone fuse.glusterfs fuse.ceph fuse.ceph-fuse fuse.s3fs fuse.davfs2 fuse.curlftpfs
fuse.vmhgfs-fuse vboxsf prl_fs
"""
_LAYERED: Final = frozenset({"overlay", "overlayfs", "aufs", "unionfs", "fuse.fuse-overlayfs"})
_WITHOUT_DATA: Final = frozenset(f"{_VIEWS} {_MEMORY} {_IMAGES}".split())
_ELSEWHERE: Final = frozenset(_NETWORK.split())


def can_hold_data(kind: str, target: str) -> bool:
    """Whether a filesystem of this kind, mounted at `target`, can hold data that stays.

    Layers are a container's own view of data that lies elsewhere on the box, save where the box is that container.
    """
    if kind in _LAYERED:
        return target == "/"
    return kind not in _WITHOUT_DATA


def is_network(kind: str, source: str) -> bool:
    """Whether the bytes lie on another machine, or on the host of a guest, as far as kind and source show it."""
    if kind in _ELSEWHERE or source.startswith("//"):
        return True
    return kind.startswith("fuse") and ":" in source
