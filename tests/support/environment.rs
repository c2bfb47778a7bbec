//! A place of the test's own in the system: folders, sound configuration and
//! environment, so that nothing of the user's is read or changed.
//!
//! A process had better not change its environment while it runs. So the test
//! starts itself anew in a process with the right environment, and does its
//! work there.

use std::any::type_name;
use std::env;
use std::ffi::OsString;
use std::fs;
use std::path::Path;
use std::process::Command;
use std::sync::{Mutex, PoisonError};
use std::thread;
use std::time::{Duration, Instant};

/// Set in the process that has the private environment.
const INSIDE: &str = "TAPEWRIGHT_TEST_FOLDER";

/// Where this is 1, missing programs are a failure instead of a reason to
/// skip.
const REQUIRED: &str = "TAPEWRIGHT_REQUIRE_LIVE";

/// An ALSA configuration whose default leads to a card that is not there.
pub const NOWHERE: &str = "</usr/share/alsa/alsa.conf>\npcm.!default { type hw card 31 }\n";

/// Whoever holds it is the only one: these tests hold times against the clock.
static ALONE: Mutex<()> = Mutex::new(());

/// Written inside, so that a test whose name was not found does not pass.
const DONE: &str = "done";

/// Runs `body`, which stands in a test function, in a process of its own with
/// a private environment, whose folder it is given, or says why not. `needed`
/// are the programs that must be installed, `asound` the ALSA configuration in
/// force, in which FOLDER stands for the folder.
pub fn in_private_environment<B: FnOnce(&Path)>(needed: &[&str], asound: &str, body: B) {
    inside(&test_around::<B>(), needed, asound, body);
}

/// The test function that a closure stands in, as the test program names it.
pub fn test_around<B>() -> String {
    let path = type_name::<B>().trim_end_matches("::{{closure}}");
    let (_program, test) = path.split_once("::").expect("the path of a closure");
    test.to_owned()
}

/// [`in_private_environment`] for a test that is named.
pub fn inside(test: &str, needed: &[&str], asound: &str, body: impl FnOnce(&Path)) {
    if let Some(folder) = env::var_os(INSIDE) {
        let folder = Path::new(&folder);
        body(folder);
        fs::write(folder.join(DONE), "").expect("room");
        return;
    }
    if !are_there(test, needed) {
        return;
    }
    let _alone = ALONE.lock().unwrap_or_else(PoisonError::into_inner);
    let folder = tempfile::tempdir().expect("a temporary folder");
    let own = folder.path().display().to_string();
    fs::write(
        folder.path().join("asound.conf"),
        asound.replace("FOLDER", &own),
    )
    .expect("an ALSA configuration");
    let status = Command::new(env::current_exe().expect("a test program"))
        .args(["--exact", test, "--nocapture", "--test-threads=1"])
        .env(INSIDE, folder.path())
        .envs(environment(folder.path()))
        .env_remove("DISPLAY")
        .env_remove("DBUS_SESSION_BUS_ADDRESS")
        .status()
        .expect("the test program runs");
    assert!(status.success(), "{test} failed inside: {status}");
    assert!(folder.path().join(DONE).exists(), "{test} was not found");
}

/// Whether programs, or files by their path, are there; where not, that is said,
/// or is a failure where they must be.
pub fn are_there(test: &str, needed: &[&str]) -> bool {
    let missing: Vec<&str> = needed
        .iter()
        .copied()
        .filter(|program| !is_installed(program))
        .collect();
    if missing.is_empty() {
        return true;
    }
    skipped(test, &format!("{}, not installed", missing.join(", ")));
    false
}

/// Says that a test is skipped for what it needs; a failure where it must run.
#[track_caller]
pub fn skipped(test: &str, needs: &str) {
    let reason = format!("{test} needs {needs}");
    assert!(env::var(REQUIRED).as_deref() != Ok("1"), "{reason}");
    eprintln!("SKIPPED: {reason}");
}

fn is_installed(program: &str) -> bool {
    let path = env::var_os("PATH").unwrap_or_default();
    env::split_paths(&path).any(|folder| folder.join(program).is_file())
}

fn environment(folder: &Path) -> Vec<(&'static str, OsString)> {
    let runtime = folder.join("run");
    let mut socket = OsString::from("unix:");
    socket.push(runtime.join("pulse/native"));
    vec![
        ("HOME", folder.into()),
        ("XDG_CONFIG_HOME", folder.join(".config").into()),
        ("XDG_DATA_HOME", folder.join("data").into()),
        ("XDG_STATE_HOME", folder.join("state").into()),
        ("XDG_RUNTIME_DIR", runtime.clone().into()),
        ("PULSE_RUNTIME_PATH", runtime.join("pulse").into()),
        ("PULSE_STATE_PATH", runtime.join("state").into()),
        ("PULSE_SERVER", socket),
        ("ALSA_CONFIG_PATH", folder.join("asound.conf").into()),
        ("LANG", "C.UTF-8".into()),
        ("LC_ALL", "C.UTF-8".into()),
    ]
}

/// Waits until `is_so`, or fails.
pub fn within(limit: Duration, what: &str, mut is_so: impl FnMut() -> bool) {
    let start = Instant::now();
    while !is_so() {
        assert!(start.elapsed() < limit, "not within {limit:?}: {what}");
        thread::sleep(Duration::from_millis(20));
    }
}
