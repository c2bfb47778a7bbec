//! Files that are there whole or not at all: written beside their place first,
//! and put there once they are safe on the disk.

use std::collections::BTreeSet;
use std::fs::{self, File, Metadata, OpenOptions, TryLockError};
use std::io;
use std::path::{Path, PathBuf};
use std::process;
use std::sync::atomic::{AtomicU32, Ordering};
use std::sync::{Mutex, PoisonError};
use std::time::Duration;

/// A file larger than this was written by nobody's hand.
const LARGEST_TEXT_BYTES: u64 = 64 * 1024;

/// All of a short text that somebody wrote: a card, the settings. Nothing, where
/// it was switched off.
pub fn read_text(path: &Path) -> io::Result<String> {
    if is_switched_off(path) {
        return Ok(String::new());
    }
    let bytes = regular(path)?.len();
    if bytes > LARGEST_TEXT_BYTES {
        return Err(io::Error::other(format!(
            "it is too large for what it should be: {bytes} bytes, where {LARGEST_TEXT_BYTES} are the most"
        )));
    }
    fs::read_to_string(path)
}

/// It is the device that holds nothing, by a link or put over it.
#[cfg(unix)]
pub(super) fn is_switched_off(path: &Path) -> bool {
    use std::os::unix::fs::{FileTypeExt as _, MetadataExt as _};
    let device = |path: &Path| {
        let found = fs::metadata(path).ok();
        found.filter(|it| it.file_type().is_char_device())
    };
    let both = device(path).zip(device(Path::new("/dev/null")));
    both.is_some_and(|(it, null)| it.rdev() == null.rdev())
}

/// This system has no such device among its files.
#[cfg(not(unix))]
pub(super) fn is_switched_off(_: &Path) -> bool {
    false
}

/// What the system says of a file that can be read to its end: a pipe would be
/// waited for, and a device may never end.
pub(super) fn regular(path: &Path) -> io::Result<Metadata> {
    let found = fs::metadata(path)?;
    checked_regular(&found)?;
    Ok(found)
}

fn checked_regular(found: &Metadata) -> io::Result<()> {
    if found.is_file() {
        Ok(())
    } else {
        Err(io::Error::other("it is no regular file"))
    }
}

/// Writes a file whole. One that is there is replaced only where `replace` says
/// so, else this is [`io::ErrorKind::AlreadyExists`]; it stays as it was
/// whatever goes wrong.
pub fn write(
    path: &Path,
    replace: bool,
    fill: impl FnOnce(&File) -> io::Result<()>,
) -> io::Result<()> {
    write_by(path, replace, fill, |from, to| fs::hard_link(from, to))
}

/// As [`write`]; `link` gives a file a second name, where no other has it yet.
fn write_by(
    path: &Path,
    replace: bool,
    fill: impl FnOnce(&File) -> io::Result<()>,
    link: impl FnOnce(&Path, &Path) -> io::Result<()>,
) -> io::Result<()> {
    let place = place(path, replace)?;
    clear_leftovers(folder_of(&place));
    let (beside, file) = make_beside(&place)?;
    // From here on it is ours, and is taken away again whatever happens.
    let placed = fill(&file).and_then(|()| {
        if let Ok(earlier) = fs::metadata(&place) {
            // Who may read it stays the same.
            let _ = file.set_permissions(earlier.permissions());
        }
        file.sync_all()?;
        if replace {
            fs::rename(&beside, &place)
        } else {
            put_in_free_place(&beside, &place, link)
        }
    });
    // After a rename there is none.
    let _ = fs::remove_file(&beside);
    placed?;
    sync_folder(&place);
    Ok(())
}

/// Where the file comes to lie: behind a link, for the link is to stay.
fn place(path: &Path, replace: bool) -> io::Result<PathBuf> {
    let Ok(there) = fs::symlink_metadata(path) else {
        return Ok(path.to_owned());
    };
    if !replace {
        return Err(io::ErrorKind::AlreadyExists.into());
    }
    if there.is_symlink() {
        // From link to link, for the last may lead to what is not there yet.
        // One that leads round in a circle is told so by the system.
        let led_to = path.with_file_name("").join(fs::read_link(path)?);
        match fs::metadata(path) {
            Err(error) if error.kind() != io::ErrorKind::NotFound => return Err(error),
            _ => return place(&led_to, replace),
        }
    }
    // A device or a pipe would be taken away by what is put in its place.
    checked_regular(&there)?;
    Ok(path.to_owned())
}

/// How the names of what is written beside its place begin and end.
const BESIDE: [&str; 2] = [".tapewright-", ".part"];

/// A file under a short name of its own in the same folder, locked for as long as
/// it is written. One that a program left there when it was killed is not ours,
/// though its number may be.
fn make_beside(place: &Path) -> io::Result<(PathBuf, File)> {
    static NUMBER: AtomicU32 = AtomicU32::new(0);
    let [begins, ends] = BESIDE;
    loop {
        let number = NUMBER.fetch_add(1, Ordering::Relaxed);
        let beside = place.with_file_name(format!("{begins}{}-{number}{ends}", process::id()));
        let made = OpenOptions::new()
            .write(true)
            .create_new(true)
            .open(&beside);
        match made {
            Err(error) if error.kind() == io::ErrorKind::AlreadyExists => {}
            Err(error) => return Err(error),
            // Somebody took it for a leftover before it was locked.
            Ok(file) if is_held(&file) || !beside.exists() => {}
            Ok(file) => return Ok((beside, file)),
        }
    }
}

/// Somebody else has locked it; where not, it is ours from here on. A file system
/// without locks says no.
fn is_held(file: &File) -> bool {
    matches!(file.try_lock(), Err(TryLockError::WouldBlock))
}

/// Nobody writes a file for so long. A choice.
const LEFT_AFTER: Duration = Duration::from_secs(3600);

/// What a program that was killed left in a folder is taken away, once a run: whoever
/// still writes holds a lock, which ends with the program. Where there are no locks
/// it stays. On a share, locks may be each computer's own: hence the age.
fn clear_leftovers(folder: &Path) {
    static CLEARED: Mutex<BTreeSet<PathBuf>> = Mutex::new(BTreeSet::new());
    let mut cleared = CLEARED.lock().unwrap_or_else(PoisonError::into_inner);
    if !cleared.insert(folder.to_owned()) {
        return;
    }
    drop(cleared);
    for entry in fs::read_dir(folder).into_iter().flatten().flatten() {
        if entry.file_name().to_str().is_some_and(is_beside)
            && entry.metadata().is_ok_and(|it| is_left(&it))
            && let Ok(file) = File::open(entry.path())
            && file.try_lock().is_ok()
        {
            let _ = fs::remove_file(entry.path());
        }
    }
}

/// Named as [`make_beside`] names them.
fn is_beside(name: &str) -> bool {
    let [begins, ends] = BESIDE;
    let numbers = name.strip_prefix(begins).and_then(|it| {
        let (process, number) = it.strip_suffix(ends)?.split_once('-')?;
        Some([process, number])
    });
    numbers.is_some_and(|them| them.iter().all(|it| it.parse::<u32>().is_ok()))
}

fn is_left(found: &Metadata) -> bool {
    let age = found.modified().ok().and_then(|it| it.elapsed().ok());
    found.is_file() && age.is_some_and(|age| age >= LEFT_AFTER)
}

/// Unlike a rename, a link never takes another's place. Where the file system
/// has no links (FAT, some network shares) the place is taken by an empty file
/// of ours first.
fn put_in_free_place(
    beside: &Path,
    place: &Path,
    link: impl FnOnce(&Path, &Path) -> io::Result<()>,
) -> io::Result<()> {
    match link(beside, place) {
        Err(error) if error.kind() != io::ErrorKind::AlreadyExists => {}
        linked => return linked,
    }
    OpenOptions::new()
        .write(true)
        .create_new(true)
        .open(place)?;
    fs::rename(beside, place).inspect_err(|_| {
        let _ = fs::remove_file(place);
    })
}

/// A new file is only safe once its folder is; systems on which a folder
/// cannot be opened do this by themselves.
pub(super) fn sync_folder(path: &Path) {
    if let Ok(folder) = File::open(folder_of(path)) {
        let _ = folder.sync_all();
    }
}

fn folder_of(path: &Path) -> &Path {
    match path.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::Write as _;
    use std::time::SystemTime;

    fn say(text: &str) -> impl FnOnce(&File) -> io::Result<()> {
        move |mut file| file.write_all(text.as_bytes())
    }

    fn fail(mut file: &File) -> io::Result<()> {
        file.write_all(b"half")?;
        Err(io::ErrorKind::StorageFull.into())
    }

    fn files_in(folder: &Path) -> usize {
        fs::read_dir(folder).unwrap().count()
    }

    #[test]
    fn what_cannot_be_written_leaves_all_as_it_was() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("old");
        fs::write(&path, "old").unwrap();
        assert!(write(&path, true, fail).is_err());
        assert_eq!(fs::read(&path).unwrap(), b"old");
        assert!(write(&folder.path().join("new"), false, fail).is_err());
        assert_eq!(files_in(folder.path()), 1);
    }

    #[test]
    fn a_file_system_without_links_takes_a_new_file_and_keeps_an_old_one() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a");
        // What FAT answers: EPERM.
        let no_links = |_: &Path, _: &Path| Err(io::ErrorKind::PermissionDenied.into());
        write_by(&path, false, say("first"), no_links).unwrap();
        assert_eq!(fs::read(&path).unwrap(), b"first");
        let again = write_by(&path, false, say("second"), no_links).unwrap_err();
        assert_eq!(again.kind(), io::ErrorKind::AlreadyExists);
        assert_eq!(fs::read(&path).unwrap(), b"first");
        // Somebody else was quicker, between the look and the writing.
        let other = folder.path().join("b");
        let late = write_by(&other, false, |_| fs::write(&other, "theirs"), no_links);
        assert_eq!(late.unwrap_err().kind(), io::ErrorKind::AlreadyExists);
        assert_eq!(fs::read(&other).unwrap(), b"theirs");
        assert_eq!(files_in(folder.path()), 2);
    }

    /// What a program that was killed left behind may bear the next name.
    #[test]
    fn what_an_earlier_program_left_behind_is_in_nobodys_way() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a");
        // It is cleared once: from then on it may be that of a program that runs.
        write(&path, false, say("first")).unwrap();
        for number in 0..200 {
            let left = format!(".tapewright-{}-{number}.part", process::id());
            fs::write(folder.path().join(left), "left").unwrap();
        }
        write(&path, true, say("second")).unwrap();
        assert_eq!(fs::read(&path).unwrap(), b"second");
        assert_eq!(files_in(folder.path()), 201);
    }

    #[test]
    fn what_a_killed_program_left_behind_goes_and_what_is_being_written_stays() {
        let folder = tempfile::tempdir().unwrap();
        let path = |name: &str| folder.path().join(name);
        let old = |name: &str| {
            let file = File::create(path(name)).unwrap();
            file.set_modified(SystemTime::now() - LEFT_AFTER).unwrap();
            file
        };
        for name in [
            ".tapewright-1-0.part",
            ".tapewright-2-7.part",
            ".tapewright-mine-1.part",
            ".tapewright-1.part",
            "mine.part",
        ] {
            old(name);
        }
        let writing = old(".tapewright-3-0.part");
        assert!(!is_held(&writing));
        // Another computer's perhaps, whose locks are not seen here.
        fs::write(path(".tapewright-4-0.part"), "half").unwrap();
        write(&path("a"), false, say("whole")).unwrap();
        let mut names: Vec<_> = fs::read_dir(folder.path())
            .unwrap()
            .map(|it| it.unwrap().file_name())
            .collect();
        names.sort();
        let stay = [
            ".tapewright-1.part",
            ".tapewright-3-0.part",
            ".tapewright-4-0.part",
            ".tapewright-mine-1.part",
            "a",
            "mine.part",
        ];
        assert_eq!(names, stay);
        // Of two that write at once neither takes the other's away.
        let other = path("b");
        write(&path("c"), false, |_| {
            clear_leftovers(&folder.path().join("."));
            write(&other, false, say("within"))
        })
        .unwrap();
        assert_eq!(fs::read(&other).unwrap(), b"within");
    }

    #[cfg(unix)]
    #[test]
    fn a_link_that_leads_nowhere_gets_a_file_to_lead_to() {
        let folder = tempfile::tempdir().unwrap();
        let [link, further, round] = ["link", "further", "round"].map(|it| folder.path().join(it));
        std::os::unix::fs::symlink("further", &link).unwrap();
        std::os::unix::fs::symlink("target", &further).unwrap();
        std::os::unix::fs::symlink("round", &round).unwrap();
        let refused = write(&link, false, say("new")).unwrap_err();
        assert_eq!(refused.kind(), io::ErrorKind::AlreadyExists);
        write(&link, true, say("new")).unwrap();
        assert_eq!(fs::read(folder.path().join("target")).unwrap(), b"new");
        assert!(fs::symlink_metadata(&link).unwrap().is_symlink());
        assert!(write(&round, true, say("new")).is_err());
        assert_eq!(files_in(folder.path()), 4);
    }

    #[cfg(unix)]
    #[test]
    fn a_text_is_short_and_may_be_switched_off() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.toml");
        std::os::unix::fs::symlink("/dev/null", &path).unwrap();
        assert_eq!(read_text(&path).unwrap(), "");
        let endless = read_text(Path::new("/dev/zero")).unwrap_err();
        assert!(endless.to_string().contains("regular"), "{endless}");
        fs::remove_file(&path).unwrap();
        fs::write(&path, " ".repeat(70_000)).unwrap();
        let large = read_text(&path).unwrap_err().to_string();
        assert!(
            large.contains("70000 bytes") && large.contains("65536"),
            "{large}"
        );
    }

    #[cfg(unix)]
    #[test]
    fn links_and_devices_stay_what_they_are() {
        let folder = tempfile::tempdir().unwrap();
        let target = folder.path().join("target");
        let link = folder.path().join("link");
        fs::write(&target, "old").unwrap();
        std::os::unix::fs::symlink(&target, &link).unwrap();
        assert!(write(&link, true, fail).is_err());
        assert_eq!(fs::read(&target).unwrap(), b"old");
        write(&link, true, say("new")).unwrap();
        assert!(fs::symlink_metadata(&link).unwrap().is_symlink());
        assert_eq!(fs::read(&target).unwrap(), b"new");
        let device = write(Path::new("/dev/full"), true, say("x")).unwrap_err();
        assert!(device.to_string().contains("regular"), "{device}");
    }
}
