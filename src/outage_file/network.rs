//! Network drives: locks there cannot be trusted, and a ledger lives by them.

use std::path::{Path, PathBuf};

/// File systems of network drives, as Linux names them; from memory.
const NETWORK: [&str; 17] = [
    "afpfs",
    "afs",
    "beegfs",
    "ceph",
    "cifs",
    "coda",
    "davfs",
    "fuse.davfs2",
    "fuse.glusterfs",
    "fuse.rclone",
    "fuse.s3fs",
    "fuse.sshfs",
    "lustre",
    "ncpfs",
    "nfs",
    "nfs4",
    "smb3",
];

/// Kind of the network drive that a file lies on; `None` where it lies on a disk of this machine, or nobody can tell.
pub fn network_drive(path: &Path) -> Option<String> {
    let whole = real(path);
    if is_share(&whole.to_string_lossy()) {
        return Some("a Windows share".into());
    }
    let mounts = std::fs::read_to_string("/proc/self/mountinfo").ok()?;
    kind(&mounts, &whole).filter(|kind| NETWORK.contains(&kind.as_str()))
}

/// The path from the root on, without links; of a file that is not there yet, by its folder.
fn real(path: &Path) -> PathBuf {
    if let Ok(whole) = path.canonicalize() {
        return whole;
    }
    let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty());
    let folder = folder.unwrap_or(Path::new(".")).canonicalize();
    folder.unwrap_or_else(|_| path.to_path_buf())
}

/// Whether a path names a share: `\\server\share`, also in the long form.
fn is_share(path: &str) -> bool {
    match path.strip_prefix(r"\\?\") {
        Some(long) => long.get(..4).is_some_and(|start| start.eq_ignore_ascii_case(r"UNC\")),
        None => path.starts_with(r"\\"),
    }
}

/// File system that a path lies on, by the list of mounts that Linux keeps (proc_pid_mountinfo(5)): the deepest mount
/// above it, and of several at one place the last.
fn kind(mounts: &str, path: &Path) -> Option<String> {
    let mut best: Option<(usize, String)> = None;
    for line in mounts.lines() {
        // Fields that may be there or not end with a lone dash.
        let Some((before, after)) = line.split_once(" - ") else { continue };
        let (Some(place), Some(kind)) =
            (before.split(' ').nth(4), after.split(' ').find(|part| !part.is_empty()))
        else {
            continue;
        };
        let place = PathBuf::from(unescaped(place));
        let depth = place.components().count();
        if path.starts_with(&place) && best.as_ref().is_none_or(|(known, _)| depth >= *known) {
            best = Some((depth, kind.to_string()));
        }
    }
    best.map(|(_, kind)| kind)
}

/// A place with its spaces, tabs and backslashes, which stand as `\040` and so on.
fn unescaped(place: &str) -> String {
    let mut text = String::new();
    let mut rest = place;
    while let Some((before, after)) = rest.split_once('\\') {
        text.push_str(before);
        let code = after.get(..3).and_then(|digits| u8::from_str_radix(digits, 8).ok());
        match code.filter(u8::is_ascii) {
            Some(code) => {
                text.push(char::from(code));
                rest = &after[3..];
            }
            None => {
                text.push('\\');
                rest = after;
            }
        }
    }
    text + rest
}

#[cfg(test)]
mod tests {
    use super::*;

    const MOUNTS: &str = "\
22 1 8:1 / / rw,relatime shared:1 - ext4 /dev/sda1 rw
30 22 0:40 / /home/kim/shop\\040drive rw,relatime shared:5 master:1 - cifs //server/shop rw,vers=3.0
31 22 0:41 / /mnt rw - nfs4 server:/mnt rw
32 31 8:2 / /mnt/local rw - ext4 /dev/sdb1 rw
33 22 0:42 / /mnt2 rw - ext4 /dev/sdc1 rw
34 33 0:43 / /mnt2 rw - fuse.sshfs kim@server: rw
a line that is none
";

    #[test]
    fn the_deepest_mount_above_a_file_counts() {
        let on = |path: &str| kind(MOUNTS, Path::new(path)).unwrap_or_default();
        assert_eq!(on("/home/kim/week.outage"), "ext4");
        assert_eq!(on("/home/kim/shop drive/week.outage"), "cifs");
        assert_eq!(on("/home/kim/shop drives/week.outage"), "ext4");
        assert_eq!(on("/mnt/week.outage"), "nfs4");
        assert_eq!(on("/mnt/local/week.outage"), "ext4");
        assert_eq!(on("/mnt2/week.outage"), "fuse.sshfs");
        assert_eq!(kind("", Path::new("/week.outage")), None);
        assert!(NETWORK.contains(&"cifs") && !NETWORK.contains(&"ext4"));
    }

    #[test]
    fn shares_are_known_by_their_names() {
        for (path, share) in [
            (r"\\server\shop\week.outage", true),
            (r"\\?\UNC\server\shop\week.outage", true),
            (r"\\?\C:\week.outage", false),
            (r"C:\week.outage", false),
            ("/home/week.outage", false),
        ] {
            assert_eq!(is_share(path), share, "{path}");
        }
        assert_eq!(unescaped(r"a\040b\134c\x"), r"a b\c\x");
    }
}
