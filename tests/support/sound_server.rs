//! A sound server of the test's own, with a virtual output whose monitor is
//! the only sound input there is: real audio without a sound card.
//!
//! The server is found through the environment, which a process had better
//! not change while it runs. So the test starts itself anew in a process with
//! the right environment, and does its work there.

use std::env;
use std::ffi::OsString;
use std::fs;
use std::os::unix::fs::PermissionsExt;
use std::os::unix::net::UnixStream;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::thread;
use std::time::{Duration, Instant};

/// Set in the process that has the private environment.
const INSIDE: &str = "TAPEWRIGHT_TEST_SOUND_DIR";

/// Where this is 1, missing programs are a failure instead of a reason to
/// skip.
const REQUIRED: &str = "TAPEWRIGHT_REQUIRE_LIVE";

/// Runs `body` with a sound server, in a process of its own, or says why not.
/// `test` is the name of the calling test function.
pub fn with_sound_server(test: &str, needed: &[&str], body: impl FnOnce(SoundServer)) {
    if let Some(folder) = env::var_os(INSIDE) {
        body(SoundServer::start(Path::new(&folder)));
        return;
    }
    let missing: Vec<&str> = ["pulseaudio", "paplay", "sox"]
        .iter()
        .chain(needed)
        .copied()
        .filter(|program| !is_installed(program))
        .collect();
    if !missing.is_empty() {
        let reason = format!("{test} needs {}, not installed", missing.join(", "));
        assert!(env::var(REQUIRED).as_deref() != Ok("1"), "{reason}");
        eprintln!("SKIPPED: {reason}");
        return;
    }
    let folder = tempfile::tempdir().expect("a temporary folder");
    let status = Command::new(env::current_exe().expect("a test program"))
        .args(["--exact", test, "--nocapture", "--test-threads=1"])
        .env(INSIDE, folder.path())
        .envs(environment(folder.path()))
        .env_remove("DISPLAY")
        .env_remove("DBUS_SESSION_BUS_ADDRESS")
        .status()
        .expect("the test program runs");
    assert!(status.success(), "{test} failed inside: {status}");
}

fn is_installed(program: &str) -> bool {
    let path = env::var_os("PATH").unwrap_or_default();
    env::split_paths(&path).any(|folder| folder.join(program).is_file())
}

fn environment(folder: &Path) -> Vec<(&'static str, OsString)> {
    let runtime = folder.join("run");
    let mut socket = OsString::from("unix:");
    socket.push(socket_path(folder));
    vec![
        ("HOME", folder.into()),
        // Where every client looks for the key that the first one makes.
        ("XDG_CONFIG_HOME", folder.join(".config").into()),
        ("XDG_DATA_HOME", folder.join("data").into()),
        ("XDG_RUNTIME_DIR", runtime.clone().into()),
        ("PULSE_RUNTIME_PATH", runtime.join("pulse").into()),
        ("PULSE_STATE_PATH", runtime.join("state").into()),
        ("PULSE_SERVER", socket),
        ("ALSA_CONFIG_PATH", folder.join("asound.conf").into()),
        ("LANG", "C.UTF-8".into()),
        ("LC_ALL", "C.UTF-8".into()),
    ]
}

fn socket_path(folder: &Path) -> PathBuf {
    folder.join("run/pulse/native")
}

/// A running server. Ends with its value.
pub struct SoundServer {
    folder: PathBuf,
    process: Option<Child>,
}

impl SoundServer {
    fn start(folder: &Path) -> Self {
        let runtime = folder.join("run");
        fs::create_dir_all(runtime.join("pulse")).expect("a runtime folder");
        for private in [&runtime, &runtime.join("pulse")] {
            fs::set_permissions(private, fs::Permissions::from_mode(0o700)).expect("own folder");
        }
        fs::write(
            folder.join("asound.conf"),
            "</usr/share/alsa/alsa.conf>\n\
             pcm.!default { type pulse }\n\
             ctl.!default { type pulse }\n\
             pcm.pulse { type pulse }\n",
        )
        .expect("an ALSA configuration");
        let mut server = Self {
            folder: folder.to_owned(),
            process: None,
        };
        server.restart();
        server
    }

    /// The folder of this test; goes with it.
    pub fn folder(&self) -> &Path {
        &self.folder
    }

    /// Ends the server at once, as a crash would.
    pub fn kill(&mut self) {
        if let Some(mut process) = self.process.take() {
            process.kill().expect("the server can be ended");
            process.wait().expect("the server ends");
        }
    }

    /// Starts it, again or for the first time, and waits until it answers.
    pub fn restart(&mut self) {
        self.kill();
        let socket = socket_path(&self.folder);
        let protocol = format!(
            "module-native-protocol-unix auth-anonymous=1 socket={}",
            socket.display()
        );
        let process = Command::new("pulseaudio")
            .args([
                "-n",
                "--daemonize=no",
                "--exit-idle-time=-1",
                "--disable-shm=yes",
            ])
            .args(["-L", &protocol])
            .args([
                "-L",
                "module-null-sink sink_name=deck rate=48000 channels=2",
            ])
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .expect("pulseaudio starts");
        self.process = Some(process);
        within(Duration::from_secs(20), "the sound server answers", || {
            UnixStream::connect(&socket).is_ok() && Self::has_sink()
        });
    }

    fn has_sink() -> bool {
        // The socket answers a moment before the virtual output is there.
        Command::new("pactl")
            .args(["list", "short", "sinks"])
            .stderr(Stdio::null())
            .output()
            .is_ok_and(|output| String::from_utf8_lossy(&output.stdout).contains("deck"))
    }

    /// Plays a steady tone, made by another program, into the virtual output.
    pub fn play_tone(&self, frequency_hz: f64, seconds: u32) -> Player {
        let file = self
            .folder
            .join(format!("tone-{frequency_hz}-{seconds}.wav"));
        let made = Command::new("sox")
            .args(["-n", "-r", "48000", "-c", "2", "-b", "16"])
            .arg(&file)
            .args([
                "synth",
                &seconds.to_string(),
                "sine",
                &frequency_hz.to_string(),
            ])
            .args(["gain", "-6"])
            .status()
            .expect("sox runs");
        assert!(made.success(), "sox failed: {made}");
        let process = Command::new("paplay")
            .args(["-d", "deck"])
            .arg(&file)
            .stdin(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .expect("paplay starts");
        Player(process)
    }
}

impl Drop for SoundServer {
    fn drop(&mut self) {
        if let Some(mut process) = self.process.take() {
            let _ = process.kill();
            let _ = process.wait();
        }
    }
}

/// A program that plays. Ends with its value.
pub struct Player(Child);

impl Drop for Player {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

/// Waits until `is_so`, or fails.
pub fn within(limit: Duration, what: &str, mut is_so: impl FnMut() -> bool) {
    let start = Instant::now();
    while !is_so() {
        assert!(start.elapsed() < limit, "not within {limit:?}: {what}");
        thread::sleep(Duration::from_millis(20));
    }
}
