//! Whether a folder lies on a disk of this computer or on a network.
//!
//! The store's write-ahead log is read and written through memory that all processes share, which those of
//! two computers do not; on some network folders locks do not reach the other computer either. Tried with one
//! folder mounted twice over SFTP and a writer at each: of 24 acknowledged changes 8 were lost.

use std::path::Path;

use super::OpenError;

/// Kinds of file systems that several computers may have open, as Linux names them. Those through which a
/// virtual machine sees a disk of its host (`9p`, `virtiofs`) are not among them.
#[cfg(target_os = "linux")]
const SHARED: [&str; 22] = [
    "nfs",
    "nfs4",
    "cifs",
    "smb3",
    "smbfs",
    "ncpfs",
    "afs",
    "coda",
    "ceph",
    "glusterfs",
    "lustre",
    "gpfs",
    "beegfs",
    "ocfs2",
    "gfs2",
    "davfs",
    "fuse.sshfs",
    "fuse.rclone",
    "fuse.glusterfs",
    "fuse.davfs2",
    "fuse.ceph-fuse",
    "fuse.gvfsd-fuse",
];

/// Refuses a folder on a network, to write as to read: what is read there while another computer writes
/// may be neither the state before nor the one after. Held on Linux alone.
pub(super) fn refuse_network(folder: &Path) -> Result<(), OpenError> {
    match network_kind(folder) {
        Some(kind) => Err(OpenError::Network { folder: folder.to_owned(), kind }),
        None => Ok(()),
    }
}

/// The kind of network folder this is, or would be once it is made; `None` where it is none, or where that
/// cannot be told.
#[cfg(target_os = "linux")]
fn network_kind(folder: &Path) -> Option<String> {
    let mounts = std::fs::read_to_string("/proc/self/mountinfo").ok()?;
    let folder = std::path::absolute(folder).ok()?;
    let folder = folder.ancestors().find_map(|there| there.canonicalize().ok())?;
    kind_of(&mounts, &folder).filter(|kind| SHARED.contains(kind)).map(str::to_owned)
}

#[cfg(not(target_os = "linux"))]
fn network_kind(_folder: &Path) -> Option<String> {
    None
}

/// The file system on which a path lies, of the mounts as the system lists them (proc(5)): the mount point
/// is the fifth field, the kind the first one after a lone hyphen. Of those that hold the path the longest
/// counts, and of equals the last, which lies over the others.
#[cfg(target_os = "linux")]
fn kind_of<'a>(mounts: &'a str, path: &Path) -> Option<&'a str> {
    let mut best: Option<(usize, &str)> = None;
    for line in mounts.lines() {
        let Some((before, after)) = line.split_once(" - ") else { continue };
        let Some(point) = before.split(' ').nth(4).map(plain) else { continue };
        let kind = after.split(' ').next().unwrap_or_default();
        let depth = Path::new(&point).components().count();
        if path.starts_with(&point) && best.is_none_or(|(deepest, _)| deepest <= depth) {
            best = Some((depth, kind));
        }
    }
    best.map(|(_, kind)| kind)
}

/// A mount point as it is called: the listing writes spaces and the like as three octal digits.
#[cfg(target_os = "linux")]
fn plain(listed: &str) -> String {
    [("\\040", " "), ("\\011", "\t"), ("\\012", "\n"), ("\\134", "\\")]
        .iter()
        .fold(listed.to_owned(), |text, (code, plain)| text.replace(code, plain))
}

#[cfg(all(test, target_os = "linux"))]
mod tests {
    use super::*;

    /// Lines as proc(5) describes them.
    const MOUNTS: &str = "\
22 1 8:1 / / rw,relatime shared:1 - ext4 /dev/sda1 rw
36 22 0:30 / /home rw,relatime - nfs4 server:/home rw,vers=4.2
37 36 8:2 / /home/ann/local rw - ext4 /dev/sdb1 rw
38 22 0:31 / /mnt/squad\\040films rw,nosuid - fuse.sshfs ann@club:/films rw
39 22 0:32 / /media/stick rw - fuseblk /dev/sdc1 rw
";

    #[test]
    fn the_innermost_mount_says_what_a_folder_lies_on() {
        let kind = |path: &str| kind_of(MOUNTS, Path::new(path)).unwrap();
        assert_eq!(kind("/var/library"), "ext4");
        assert_eq!(kind("/home/ann/library"), "nfs4");
        assert_eq!(kind("/home/ann/local/library"), "ext4");
        assert_eq!(kind("/homestead"), "ext4");
        assert_eq!(kind("/mnt/squad films/library"), "fuse.sshfs");
        assert!(SHARED.contains(&kind("/home/ann")) && SHARED.contains(&kind("/mnt/squad films")));
        assert!(!SHARED.contains(&kind("/media/stick")));
        assert_eq!(kind_of("", Path::new("/")), None);
    }

    #[test]
    fn a_folder_of_this_computer_is_not_refused() {
        let folder = tempfile::TempDir::new().unwrap();
        refuse_network(folder.path()).unwrap();
        refuse_network(&folder.path().join("not/made/yet")).unwrap();
        let said = OpenError::Network { folder: "/net/club".into(), kind: "nfs4".to_owned() };
        assert!(
            said.to_string().starts_with("/net/club: lies on a network folder (nfs4)"),
            "{said}"
        );
    }
}
