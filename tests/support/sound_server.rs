//! A sound server of the test's own, with a virtual output whose monitor is
//! the only sound input there is: real audio without a sound card.

use std::fs;
use std::os::unix::fs::PermissionsExt;
use std::os::unix::net::UnixStream;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::Duration;

use super::environment::{inside, test_around, within};

/// All sound goes to and comes from the server.
const ASOUND: &str = "\
</usr/share/alsa/alsa.conf>
pcm.!default { type pulse }
ctl.!default { type pulse }
pcm.pulse { type pulse }
";

/// The monitor of the virtual output under a name of its own. It stays in the list
/// of inputs when the server is gone.
const DECK: &str = "pcm.deck { type pulse  device deck.monitor }\n";

/// Runs `body`, which stands in a test function, with a sound server in a
/// private environment, or says why not. `needed` is what it needs besides the
/// server.
pub fn with_sound_server<B: FnOnce(SoundServer)>(needed: &[&str], body: B) {
    with_server(&test_around::<B>(), needed, ASOUND, body);
}

/// The same where its virtual output is an input of its own too, `alsa:deck`.
pub fn with_named_input<B: FnOnce(SoundServer)>(needed: &[&str], body: B) {
    with_server(
        &test_around::<B>(),
        needed,
        &format!("{ASOUND}{DECK}"),
        body,
    );
}

fn with_server(test: &str, needed: &[&str], asound: &str, body: impl FnOnce(SoundServer)) {
    let needed = [&["pulseaudio", "pactl", "paplay", "sox"], needed].concat();
    inside(test, &needed, asound, |folder| {
        body(SoundServer::start(folder));
    });
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

    /// Stops it as a machine that hangs would, or lets it go on.
    pub fn stall(&self, stalled: bool) {
        let Some(process) = &self.process else { return };
        let signal = if stalled { "-STOP" } else { "-CONT" };
        let id = process.id().to_string();
        let done = Command::new("kill").args([signal, &id]).status();
        assert!(done.expect("kill runs").success(), "kill {signal} failed");
    }

    /// A second virtual output, of four channels, whose monitor becomes the
    /// default input; each channel plays a tone of its own.
    pub fn play_four_tones(&self, hz: [f64; 4], seconds: u32) -> Player {
        const MAP: &str = "front-left,front-right,rear-left,rear-right";
        let map = format!("channel_map={MAP}");
        let sink = "load-module module-null-sink sink_name=quad rate=48000 channels=4";
        self.pactl(&format!("{sink} {map}"));
        self.pactl("set-default-source quad.monitor");
        self.play(
            &hz,
            seconds,
            &["-d", "quad", &format!("--channel-map={MAP}")],
        )
    }

    /// Has the server do something; what it answers, such as the number of a
    /// module that it loaded.
    pub fn pactl(&self, words: &str) -> String {
        assert!(self.process.is_some(), "nobody answers");
        let mut pactl = Command::new("pactl");
        let done = pactl.args(words.split(' ')).stderr(Stdio::inherit());
        let done = done.output().expect("pactl runs");
        assert!(done.status.success(), "pactl {words}");
        String::from_utf8_lossy(&done.stdout).trim().to_owned()
    }

    /// A virtual output; its monitor is an input by the name `NAME.monitor`.
    pub fn load_sink(&self, name: &str, rate_hz: u32) -> String {
        let sink = "load-module module-null-sink channels=2";
        self.pactl(&format!("{sink} sink_name={name} rate={rate_hz}"))
    }

    /// The number of the module that made an output.
    pub fn module_of(&self, sink: &str) -> String {
        let modules = self.pactl("list short modules");
        let name = format!("sink_name={sink} ");
        let line = modules.lines().find(|line| line.contains(&name));
        let number = line.and_then(|line| line.split_whitespace().next());
        number.expect("it is there").to_owned()
    }

    /// The rate of an input, as the server has it.
    pub fn rate_hz_of(&self, input: &str) -> u32 {
        let inputs = self.pactl("list short sources");
        let line = inputs.lines().find(|line| line.contains(input));
        let rate = line.and_then(|it| it.split_whitespace().find_map(|it| it.strip_suffix("Hz")));
        rate.and_then(|it| it.parse().ok()).expect("it is listed")
    }

    /// The server itself plays a steady tone into a virtual output, sample by
    /// sample, for as long as both are there.
    pub fn hum(&self, sink: &str, hz: u32) -> String {
        self.pactl(&format!(
            "load-module module-sine sink={sink} frequency={hz}"
        ))
    }

    /// Starts it, again or for the first time, and waits until it answers.
    pub fn restart(&mut self) {
        self.restart_at(48_000);
    }

    /// The same with an output of this rate.
    pub fn restart_at(&mut self, rate_hz: u32) {
        self.kill();
        let socket = socket_path(&self.folder);
        let protocol = format!(
            "module-native-protocol-unix auth-anonymous=1 socket={}",
            socket.display()
        );
        let sink = format!("module-null-sink sink_name=deck rate={rate_hz} channels=2");
        let process = Command::new("pulseaudio")
            .args(["-n", "--daemonize=no", "--exit-idle-time=-1"])
            .args(["--disable-shm=yes", "-L", &protocol, "-L", &sink])
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
    pub fn play_tone(&self, hz: f64, seconds: u32) -> Player {
        self.play(&[hz, hz], seconds, &["-d", "deck"])
    }

    /// A tone for each channel.
    fn play(&self, hz: &[f64], seconds: u32, to: &[&str]) -> Player {
        let file = self.folder.join(format!("tones-{}-{seconds}.wav", hz[0]));
        let mut sox = Command::new("sox");
        sox.args(["-n", "-r", "48000", "-b", "16", "-c", &hz.len().to_string()]);
        sox.arg(&file).args(["synth", &seconds.to_string()]);
        for hz in hz {
            sox.args(["sine", &hz.to_string()]);
        }
        let made = sox.args(["gain", "-6"]).status().expect("sox runs");
        assert!(made.success(), "sox failed: {made}");
        let mut play = Command::new("paplay");
        play.args(to).arg(&file);
        let silent = play.stdin(Stdio::null()).stderr(Stdio::null());
        Player(silent.spawn().expect("paplay starts"))
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
