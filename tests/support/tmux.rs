//! A terminal of its own for a test: a private tmux server with one window
//! and a shell in it, whose screen can be read and typed on.

use std::process::{Command, Output};
use std::thread;
use std::time::{Duration, Instant};

use super::program::PROGRAM;

/// A busy machine may take so long for what takes a moment elsewhere. Nothing
/// is measured by it: a test that passes never waits for the whole of it.
const PATIENCE: Duration = Duration::from_secs(60);

/// What the shell of the window says when it is ready.
pub const PROMPT: &str = "ready>";

/// A terminal. Dropping it ends it and whatever runs in it.
pub struct Tmux {
    socket: String,
    folder: tempfile::TempDir,
}

impl Tmux {
    /// A window of the usual size, where there is a tmux.
    pub fn open() -> Option<Self> {
        Self::is_there().then(|| Self::start(80, 24))
    }

    /// True where there is a tmux; else says why a test is skipped, or fails
    /// where it must run.
    fn is_there() -> bool {
        let found = Command::new("tmux").arg("-V").output().is_ok();
        if !found {
            let required = std::env::var("TAPEWRIGHT_REQUIRE_LIVE");
            assert!(required.as_deref() != Ok("1"), "tmux is not installed");
            eprintln!("SKIPPED: tmux is not installed");
        }
        found
    }

    /// A window of that many columns and rows.
    pub fn start(columns: u16, rows: u16) -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        let tmux = Self {
            socket: format!("tapewright-test-{}", std::process::id()),
            folder,
        };
        let size = [columns.to_string(), rows.to_string()];
        let shell = format!(
            "env PS1='{PROMPT} ' LC_ALL=C.UTF-8 HOME={} bash --norc --noprofile",
            tmux.folder.path().display()
        );
        let session = ["-f", "/dev/null", "new-session", "-d"];
        let made = tmux.tmux(&[&session[..], &["-x", &size[0], "-y", &size[1], &shell]].concat());
        assert!(made.status.success(), "{made:?}");
        tmux.wait_for(PROMPT);
        tmux
    }

    /// The home folder of what runs in the window.
    pub fn home(&self) -> &std::path::Path {
        self.folder.path()
    }

    fn tmux(&self, arguments: &[&str]) -> Output {
        Command::new("tmux")
            .env("TMUX_TMPDIR", self.folder.path())
            .env("LC_ALL", "C.UTF-8")
            .env_remove("TMUX")
            .args(["-L", &self.socket])
            .args(arguments)
            .output()
            .expect("tmux runs")
    }

    /// Types a line and Enter.
    pub fn type_line(&self, line: &str) {
        self.tmux(&["send-keys", "-l", line]);
        self.press("Enter");
    }

    /// Types the program with these arguments, and Enter.
    pub fn run(&self, arguments: &str) {
        self.type_line(&format!("'{PROGRAM}' {arguments}"));
    }

    /// Quits by its key, and all is well.
    pub fn quit(&self) {
        self.press("q");
        assert_eq!(self.last_status(), 0);
    }

    /// Presses a key by the name that tmux has for it.
    pub fn press(&self, key: &str) {
        self.tmux(&["send-keys", key]);
    }

    /// Another size of the window.
    pub fn resize(&self, columns: u16, rows: u16) {
        let size = [columns.to_string(), rows.to_string()];
        self.tmux(&["resize-window", "-x", &size[0], "-y", &size[1]]);
    }

    /// What stands on the screen.
    pub fn screen(&self) -> String {
        let seen = self.tmux(&["capture-pane", "-p"]);
        String::from_utf8_lossy(&seen.stdout).into_owned()
    }

    /// The screen with its escape sequences: colours, bold, reverse.
    pub fn screen_with_styles(&self) -> String {
        let seen = self.tmux(&["capture-pane", "-p", "-e"]);
        String::from_utf8_lossy(&seen.stdout).into_owned()
    }

    /// One of tmux's own figures about the window, such as `alternate_on`.
    pub fn figure(&self, name: &str) -> String {
        let said = self.tmux(&["display-message", "-p", &format!("#{{{name}}}")]);
        String::from_utf8_lossy(&said.stdout).trim().to_owned()
    }

    /// The screen, once it contains a text.
    pub fn wait_for(&self, text: &str) -> String {
        self.wait_until(text, |screen| screen.contains(text))
    }

    /// The screen, once it is as described.
    pub fn wait_until(&self, what: &str, is_so: impl Fn(&str) -> bool) -> String {
        self.wait_within(PATIENCE, what, is_so)
    }

    /// The same where it must not take longer.
    pub fn wait_within(&self, limit: Duration, what: &str, is_so: impl Fn(&str) -> bool) -> String {
        let begun = Instant::now();
        loop {
            let screen = self.screen();
            if is_so(&screen) {
                return screen;
            }
            assert!(
                begun.elapsed() < limit,
                "waited in vain for \"{what}\" on\n{screen}"
            );
            thread::sleep(Duration::from_millis(30));
        }
    }

    /// Asks the shell for the exit status of the last program, which proves
    /// that the terminal takes lines and echoes again.
    pub fn last_status(&self) -> i32 {
        self.wait_until("a prompt at the end", |screen| {
            screen.trim_end().ends_with(PROMPT)
        });
        self.type_line("echo status=$?.");
        let screen = self.wait_until("the status", |screen| status_in(screen).is_some());
        status_in(&screen).expect("just seen")
    }

    /// The terminal is as it was: no other screen, a cursor, lines and echo.
    pub fn assert_given_back(&self) {
        assert_eq!(self.figure("alternate_on"), "0", "{}", self.screen());
        assert_eq!(self.figure("cursor_flag"), "1", "{}", self.screen());
        self.type_line("stty -a");
        let modes = self.wait_for("echoke");
        for mode in ["icanon", "echo", "isig", "opost"] {
            let is_on = modes.split_whitespace().any(|word| word == mode);
            assert!(is_on, "{mode} is off:\n{modes}");
        }
    }
}

fn status_in(screen: &str) -> Option<i32> {
    let after = screen.rsplit_once("status=")?.1;
    after.split_once('.')?.0.parse().ok()
}

impl Drop for Tmux {
    fn drop(&mut self) {
        // The server of this socket, which only this test uses.
        self.tmux(&["kill-server"]);
    }
}
