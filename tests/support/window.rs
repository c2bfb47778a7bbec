//! A terminal of a test's own: a pseudo-terminal with a shell in it, whose
//! screen can be read and typed on.

use std::collections::BTreeMap;
use std::fs::{self, File};
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
use rustix::process::Pid;
use vt100::{Parser, Screen};

use super::program::{FOLDERS, Folder, PROGRAM, users_settings};

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
    at_first: Modes,
}

/// All that a program can leave behind: how the line is set (`stty -g`), and what
/// of the window's own is not as usual.
type Modes = (String, BTreeMap<String, bool>);

struct Shown {
    parser: Mutex<Parser>,
    /// All that came, as it came.
    heard: Mutex<Vec<u8>>,
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
        // Else it turns a mode of the window on and off by itself.
        let habits = home.with("inputrc", "set enable-bracketed-paste off\n");
        shell.env("INPUTRC", habits);
        shell.env("PS1", format!("{PROMPT} "));
        shell.env("LC_ALL", "C.UTF-8");
        shell.env("TERM", "xterm");
        shell.env("HOME", home.root());
        let folders = FOLDERS.iter().map(ToString::to_string);
        folders
            .chain(users_settings())
            .for_each(|name| shell.env_remove(name));
        let shell = pair.slave.spawn_command(shell).expect("bash starts");
        let file = pair.master.as_raw_fd().expect("it is a file here");
        let file = || FileDescriptor::dup(&file).and_then(|it| it.as_file());
        let [line, read] = [file(), file()].map(|it| it.expect("room for a file"));
        let shown = Arc::new(Shown {
            parser: Mutex::new(Parser::new(cells(rows), cells(columns), 0)),
            heard: Mutex::default(),
            changed: Condvar::new(),
            is_open: AtomicBool::new(true),
            is_read: AtomicBool::new(true),
        });
        let shared = Arc::clone(&shown);
        let mut window = Self {
            home,
            master: Some(pair.master),
            shell,
            line: Some(line),
            shown,
            reader: Some(thread::spawn(move || shared.read(read))),
            at_first: Modes::default(),
        };
        window.wait_for(PROMPT);
        window.at_first = window.modes();
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

    /// The same, with what stands before it on the line; the process that it is.
    pub fn start(&self, before: &str, arguments: &str) -> Pid {
        let process = self.home().join("process");
        let _ = fs::remove_file(&process);
        self.type_line(&format!(
            "(echo $BASHPID >process; {before} exec '{PROGRAM}' {arguments})"
        ));
        let said = wait_for_line(&process);
        let number = said.trim().parse().ok();
        number.and_then(Pid::from_raw).expect("a process")
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
            "C-l" => "\u{c}",
            "C-u" => "\u{15}",
            "C-z" => "\u{1a}",
            letter => letter,
        });
    }

    /// Nothing is shown in a window without cells, but programs are told of it.
    pub fn resize(&self, columns: u16, rows: u16) {
        let mut parser = self.shown.parser.lock().expect("nobody panicked");
        parser.set_size(cells(rows.max(1)), cells(columns.max(1)));
        let resized = self.master().resize(size(columns, rows));
        resized.expect("it can be resized");
    }

    /// Waits until nothing has come for this long.
    pub fn settle(&self, quiet: Duration) {
        let count = || self.shown.heard.lock().expect("nobody panicked").len();
        let begun = Instant::now();
        let (mut last, mut since) = (count(), begun);
        while since.elapsed() < quiet {
            let heard = begun.elapsed() < PATIENCE;
            assert!(heard, "never {quiet:?} of quiet on\n{}", self.screen());
            thread::sleep(Duration::from_millis(5));
            let now = count();
            if now != last {
                (last, since) = (now, Instant::now());
            }
        }
    }

    /// Somebody else writes all over the screen.
    pub fn scribble(&self) {
        let mut parser = self.shown.parser.lock().expect("nobody panicked");
        let (rows, columns) = parser.screen().size();
        let cells = usize::from(rows.get()) * usize::from(columns.get());
        parser.process(b"\x1b[H\x1b[1;31m");
        parser.process("#".repeat(cells).as_bytes());
    }

    /// What stands on the screen.
    pub fn screen(&self) -> String {
        self.look(text)
    }

    /// The screen with its styles and modes.
    pub fn look<T>(&self, look: impl Fn(&Screen) -> T) -> T {
        look(self.shown.parser.lock().expect("nobody panicked").screen())
    }

    /// Every cell with its style; a space and nothing look the same.
    pub fn picture(&self) -> Vec<(String, String)> {
        self.look(|screen| {
            let (rows, columns) = screen.size();
            let places = (0..rows.get()).flat_map(|y| (0..columns.get()).map(move |x| (y, x)));
            let cells = places.filter_map(|(y, x)| screen.cell(y, x));
            let styled = |cell: &vt100::Cell| {
                let letters = [cell.bold(), cell.dim(), cell.italic(), cell.underline()];
                let colours = (cell.fgcolor(), cell.bgcolor(), cell.inverse());
                let letter = cell.contents().trim().to_owned();
                // Of a letter that is not there neither its colour nor its weight is seen.
                let ink = (!letter.is_empty()).then_some((letters, colours.0));
                (letter, format!("{ink:?} {:?} {}", colours.1, colours.2))
            };
            cells.map(styled).collect()
        })
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

    /// The shell is ready.
    pub fn has_prompt(&self) -> bool {
        self.screen().trim_end().ends_with(PROMPT)
    }

    fn modes(&self) -> Modes {
        let modes = self.home().join("modes");
        let _ = fs::remove_file(&modes);
        self.type_line(&format!("stty -g >{}", modes.display()));
        let line = wait_for_line(&modes);
        self.wait_until("a prompt", |screen| screen.trim_end().ends_with(PROMPT));
        let heard = self.shown.heard.lock().expect("nobody panicked");
        (line, unusual_modes(&String::from_utf8_lossy(&heard)))
    }

    /// The terminal is as it was: how its line is set to the last letter, no other
    /// screen, a cursor, no colour, and no mode of the window that was not there.
    #[track_caller]
    pub fn assert_given_back(&self) {
        assert!(!self.is_taken(), "{}", self.screen());
        assert_eq!(self.modes(), self.at_first, "{}", self.screen());
        let colours = self.look(|screen| {
            let letters = [screen.bold(), screen.dim(), screen.inverse()];
            (screen.fgcolor(), screen.bgcolor(), letters)
        });
        let plain = (vt100::Color::Default, vt100::Color::Default, [false; 3]);
        assert_eq!(colours, plain, "{}", self.screen());
    }

    /// Closes it under whatever runs in it; its home folder.
    pub fn close(mut self) -> Folder {
        self.hang_up();
        std::mem::replace(&mut self.home, Folder::new())
    }

    fn hang_up(&mut self) {
        self.shown.is_open.store(false, Relaxed);
        let _ = self.reader.take().map(JoinHandle::join);
        // With the last of its files it is closed, which hangs up.
        (self.line, self.master) = (None, None);
    }
}

/// What a command writes to a file, once it is whole.
fn wait_for_line(path: &Path) -> String {
    let begun = Instant::now();
    loop {
        let said = fs::read_to_string(path).unwrap_or_default();
        if said.ends_with('\n') {
            return said;
        }
        assert!(begun.elapsed() < PATIENCE, "nothing in {}", path.display());
        thread::sleep(Duration::from_millis(5));
    }
}

/// The private modes (DECSET, `CSI ? number h`) that are not as they are in a
/// window just opened, where but the cursor's all are off.
fn unusual_modes(heard: &str) -> BTreeMap<String, bool> {
    let mut modes = BTreeMap::from([("25".to_owned(), true)]);
    for sequence in heard.split("\u{1b}[?").skip(1) {
        let numbers = sequence.trim_start_matches(|it: char| it.is_ascii_digit() || it == ';');
        let is_on = match numbers.chars().next() {
            Some('h') => true,
            Some('l') => false,
            _ => continue,
        };
        let length = sequence.len() - numbers.len();
        for number in sequence[..length].split(';') {
            modes.insert(number.to_owned(), is_on);
        }
    }
    modes.retain(|number, is_on| *is_on != (number == "25"));
    modes
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
                let came = &bytes[..filled];
                let mut heard = self.heard.lock().expect("nobody panicked");
                heard.extend_from_slice(came);
                drop(heard);
                let mut parser = self.parser.lock().expect("nobody panicked");
                parser.process(came);
                self.changed.notify_all();
            }
        }
    }
}

impl Drop for Window {
    fn drop(&mut self) {
        self.hang_up();
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
