//! A terminal of a test's own: a pseudo-terminal with a shell in it, whose
//! screen can be read and typed on.

use std::fs::File;
use std::io::{Read, Write};
use std::num::NonZeroU16;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering::Relaxed};
use std::sync::{Arc, Condvar, Mutex};
use std::thread::{self, JoinHandle};
use std::time::{Duration, Instant};

use filedescriptor::FileDescriptor;
use portable_pty::{Child, CommandBuilder, MasterPty, PtySize, native_pty_system};
use rustix::event::{PollFd, PollFlags, Timespec, poll};
use vt100::{Parser, Screen};

use super::program::{Folder, PROGRAM};

/// A busy machine may take as long for what takes a moment elsewhere. Nothing
/// is measured by it: a test that passes never waits for the whole of it.
const PATIENCE: Duration = Duration::from_secs(60);

/// What the shell says when it is ready.
pub const PROMPT: &str = "ready>";

/// Dropping it closes it under whatever runs in it.
pub struct Window {
    home: Folder,
    master: Option<Box<dyn MasterPty + Send>>,
    shell: Box<dyn Child + Send + Sync>,
    line: Option<File>,
    shown: Arc<Shown>,
    reader: Option<JoinHandle<()>>,
}

struct Shown {
    parser: Mutex<Parser>,
    changed: Condvar,
    is_open: AtomicBool,
    is_read: AtomicBool,
}

fn size(columns: u16, rows: u16) -> PtySize {
    PtySize {
        rows,
        cols: columns,
        ..PtySize::default()
    }
}

fn cells(count: u16) -> NonZeroU16 {
    NonZeroU16::new(count).expect("a window has room")
}

impl Window {
    pub fn open() -> Self {
        Self::of(80, 24)
    }

    pub fn of(columns: u16, rows: u16) -> Self {
        let home = Folder::new();
        let pair = native_pty_system().openpty(size(columns, rows));
        let pair = pair.expect("a pseudo-terminal");
        let mut shell = CommandBuilder::new("bash");
        shell.args(["--norc", "--noprofile"]);
        shell.cwd(home.root());
        shell.env("PS1", format!("{PROMPT} "));
        shell.env("LC_ALL", "C.UTF-8");
        shell.env("TERM", "xterm");
        shell.env("HOME", home.root());
        shell.env_remove("XDG_CONFIG_HOME");
        let shell = pair.slave.spawn_command(shell).expect("bash starts");
        let file = pair.master.as_raw_fd().expect("it is a file here");
        let file = || FileDescriptor::dup(&file).and_then(|it| it.as_file());
        let [line, read] = [file(), file()].map(|it| it.expect("room for a file"));
        let shown = Arc::new(Shown {
            parser: Mutex::new(Parser::new(cells(rows), cells(columns), 0)),
            changed: Condvar::new(),
            is_open: AtomicBool::new(true),
            is_read: AtomicBool::new(true),
        });
        let shared = Arc::clone(&shown);
        let window = Self {
            home,
            master: Some(pair.master),
            shell,
            line: Some(line),
            shown,
            reader: Some(thread::spawn(move || shared.read(read))),
        };
        window.wait_for(PROMPT);
        window
    }

    /// The home folder of what runs in the window.
    pub fn home(&self) -> &Path {
        self.home.root()
    }

    fn master(&self) -> &dyn MasterPty {
        &**self.master.as_ref().expect("open until it is dropped")
    }

    /// The line that what runs in the window writes to.
    pub fn line(&self) -> PathBuf {
        self.master().tty_name().expect("it has a name")
    }

    /// Whoever reads what is written to the window stops, or goes on.
    pub fn is_read(&self, is_read: bool) {
        self.shown.is_read.store(is_read, Relaxed);
    }

    fn send(&self, keys: &str) {
        let mut line = self.line.as_ref().expect("open until it is dropped");
        line.write_all(keys.as_bytes()).expect("it takes keys");
    }

    /// Types a line and Enter.
    pub fn type_line(&self, line: &str) {
        self.send(&format!("{line}\r"));
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

    /// Presses a key: itself, or its name.
    pub fn press(&self, key: &str) {
        self.send(match key {
            "Space" => " ",
            "Tab" => "\t",
            "Escape" => "\u{1b}",
            "C-c" => "\u{3}",
            "C-z" => "\u{1a}",
            letter => letter,
        });
    }

    pub fn resize(&self, columns: u16, rows: u16) {
        let mut parser = self.shown.parser.lock().expect("nobody panicked");
        parser.set_size(cells(rows), cells(columns));
        let resized = self.master().resize(size(columns, rows));
        resized.expect("it can be resized");
    }

    /// What stands on the screen.
    pub fn screen(&self) -> String {
        self.look(text)
    }

    /// The screen with its styles and modes.
    pub fn look<T>(&self, look: impl Fn(&Screen) -> T) -> T {
        look(self.shown.parser.lock().expect("nobody panicked").screen())
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
        let until = Instant::now() + limit;
        let mut parser = self.shown.parser.lock().expect("nobody panicked");
        loop {
            let mut screen = text(parser.screen());
            if is_so(&screen) {
                // On a busy machine the rest of the picture comes later.
                for _ in 0..5 {
                    let quiet = Duration::from_millis(20);
                    let waited = self.shown.changed.wait_timeout(parser, quiet);
                    let timeout;
                    (parser, timeout) = waited.expect("nobody panicked");
                    if timeout.timed_out() {
                        break;
                    }
                    let newer = text(parser.screen());
                    screen = if is_so(&newer) { newer } else { screen };
                }
                return screen;
            }
            let left = until.saturating_duration_since(Instant::now());
            assert!(
                !left.is_zero(),
                "waited in vain for \"{what}\" on\n{screen}"
            );
            // Not everything that is waited for changes the screen.
            let pause = left.min(Duration::from_millis(50));
            let waited = self.shown.changed.wait_timeout(parser, pause);
            parser = waited.expect("nobody panicked").0;
        }
    }

    /// Asks the shell for the exit status of the last program, which proves
    /// that the terminal takes lines and echoes again.
    pub fn last_status(&self) -> i32 {
        self.wait_until("a prompt", |screen| screen.trim_end().ends_with(PROMPT));
        self.type_line("echo status=$?.");
        let screen = self.wait_until("the status", |screen| status_in(screen).is_some());
        status_in(&screen).expect("just seen")
    }

    /// The screen is the program's own, without a cursor.
    pub fn is_taken(&self) -> bool {
        let [alternate, hidden] =
            self.look(|screen| [screen.alternate_screen(), screen.hide_cursor()]);
        assert_eq!(alternate, hidden, "{}", self.screen());
        alternate
    }

    /// The terminal is as it was: no other screen, a cursor, lines and echo.
    pub fn assert_given_back(&self) {
        assert!(!self.is_taken(), "{}", self.screen());
        self.type_line("stty -a");
        let modes = self.wait_for("echoke");
        for mode in ["icanon", "echo", "isig", "opost"] {
            let is_on = modes.split_whitespace().any(|word| word == mode);
            assert!(is_on, "{mode} is off:\n{modes}");
        }
    }
}

impl Shown {
    fn read(&self, mut file: File) {
        let has_more = |file: &File, within_ms: i64| {
            let within = Timespec {
                tv_sec: 0,
                tv_nsec: 1_000_000 * within_ms,
            };
            let mut wanted = [PollFd::new(file, PollFlags::IN)];
            poll(&mut wanted, Some(&within)).is_ok_and(|ready| ready > 0)
        };
        let mut bytes = vec![0; 1 << 16];
        while self.is_open.load(Relaxed) {
            if !self.is_read.load(Relaxed) {
                thread::sleep(Duration::from_millis(5));
                continue;
            }
            // A picture comes in pieces: it is whole when nothing follows.
            let mut filled = 0;
            while filled < bytes.len() && has_more(&file, if filled == 0 { 20 } else { 3 }) {
                match file.read(&mut bytes[filled..]) {
                    Ok(count) if count > 0 => filled += count,
                    _ => return,
                }
            }
            if filled > 0 {
                let mut parser = self.parser.lock().expect("nobody panicked");
                parser.process(&bytes[..filled]);
                self.changed.notify_all();
            }
        }
    }
}

impl Drop for Window {
    fn drop(&mut self) {
        self.shown.is_open.store(false, Relaxed);
        let _ = self.reader.take().map(JoinHandle::join);
        // With the last of its files it is closed, which hangs up.
        (self.line, self.master) = (None, None);
        let _ = self.shell.kill();
        let _ = self.shell.wait();
    }
}

fn text(screen: &Screen) -> String {
    let rows = screen.rows(0, screen.size().1.get());
    rows.map(|row| row.trim_end().to_owned() + "\n").collect()
}

fn status_in(screen: &str) -> Option<i32> {
    let after = screen.rsplit_once("status=")?.1;
    after.split_once('.')?.0.parse().ok()
}
