//! Taking the terminal and giving it back, whatever happens: on leaving, on an
//! error, on a panic in any thread, on a signal, and for a while on Ctrl-Z.
//!
//! While the screen is up, standard error goes to a log file: sound libraries
//! write there, and a single line of theirs would tear the screen.

use std::backtrace::Backtrace;
use std::fs::{File, OpenOptions};
use std::io::{self, IsTerminal, Stdout, Write};
use std::mem::ManuallyDrop;
use std::panic::PanicHookInfo;
use std::path::PathBuf;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::mpsc::{self, Receiver, RecvTimeoutError};
use std::sync::{Arc, Mutex, Once, PoisonError};
use std::thread::{self, ThreadId};
use std::time::{Duration, Instant};

use crossterm::cursor::{Hide, Show};
use crossterm::style::{Attribute, SetAttribute};
use crossterm::terminal::{
    EnterAlternateScreen, LeaveAlternateScreen, disable_raw_mode, enable_raw_mode,
};
use crossterm::{Command, execute, queue};
use jiff::Timestamp;
use ratatui_core::layout::Rect;
use ratatui_crossterm::CrosstermBackend;
use rustix::event::{PollFd, PollFlags, Timespec};
use rustix::fd::{BorrowedFd, OwnedFd};
use rustix::process::Signal;
use rustix::termios::{Action, QueueSelector, tcflow, tcflush};
use signal_hook::consts::{SIGCONT, SIGHUP, SIGINT, SIGQUIT, SIGTERM, SIGTSTP};

use super::draw::draw;
use super::state::ScreenState;
use crate::audio::recording::is_guarded;
use crate::report::numbers::plain;

/// The signals that end the program.
const ENDING_SIGNALS: [i32; 4] = [SIGINT, SIGTERM, SIGHUP, SIGQUIT];

/// How long a dying thread waits for the terminal to be given back. A choice.
const PATIENCE: Duration = Duration::from_millis(500);

/// How long the main thread waits for its report, which takes time where the
/// computer is busy. A choice.
const REPORT_PATIENCE: Duration = Duration::from_secs(5);

/// Reports of failures that stay for whoever looks for them: some hundred. A choice.
const FAILURES_BYTES: u64 = 1 << 20;

/// What is to be given back.
static TAKEN: Mutex<Option<Taken>> = Mutex::new(None);
/// The thread that draws.
static DRAWING_THREAD: Mutex<Option<ThreadId>> = Mutex::new(None);
/// A thread has panicked.
static PANICKED: AtomicBool = AtomicBool::new(false);
/// And its report has been written.
static REPORTED: AtomicBool = AtomicBool::new(false);

struct Taken {
    /// The real standard error, if it was moved out of the way.
    stderr: Option<OwnedFd>,
}

/// Why there is no screen.
#[derive(Debug, thiserror::Error)]
pub enum TerminalError {
    /// Input or output goes elsewhere.
    #[error(
        "the live screen needs a terminal, but {0} goes elsewhere; run it without redirection, or measure a recording with `tapewright read`"
    )]
    NotATerminal(&'static str),
    /// It cannot place letters.
    #[error(
        "the live screen needs a terminal that can place letters, but TERM says \"dumb\"; run it in another terminal, or measure a recording with `tapewright read`"
    )]
    Dumb,
    /// The terminal refused.
    #[error("the terminal cannot be used ({0}); try another terminal program")]
    Refused(#[from] io::Error),
}

/// What waiting for a key has brought.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Waited {
    /// Keys can be read.
    Keys,
    /// Nothing, for as long as was waited.
    Nothing,
    /// The terminal is gone: its window was closed.
    Gone,
}

/// A terminal that is drawn on. Dropping it gives the terminal back.
pub struct Terminal {
    /// Never dropped: it would show the cursor once more, and wait for that where
    /// the terminal takes nothing.
    inner: ManuallyDrop<ratatui_core::terminal::Terminal<CrosstermBackend<Stdout>>>,
    signals: Signals,
}

/// Flags that signal handlers set.
struct Signals {
    ended_by: Arc<AtomicUsize>,
    stopped: Arc<AtomicBool>,
    continued: Arc<AtomicBool>,
    /// Set while the screen is not up: then signals do what they always do.
    usual: Arc<AtomicBool>,
}

impl Terminal {
    /// Is there a terminal to take? Asked before anything is started.
    pub fn check() -> Result<(), TerminalError> {
        if !io::stdin().is_terminal() {
            return Err(TerminalError::NotATerminal("standard input"));
        }
        if !io::stdout().is_terminal() {
            return Err(TerminalError::NotATerminal("standard output"));
        }
        if std::env::var_os("TERM").is_some_and(|term| term == "dumb") {
            return Err(TerminalError::Dumb);
        }
        Ok(())
    }

    /// Takes the terminal: raw mode, the other screen, no cursor.
    pub fn enter() -> Result<Self, TerminalError> {
        Self::check()?;
        watch_for_panics();
        *lock(&DRAWING_THREAD) = Some(thread::current().id());
        let signals = Signals::watch()?;
        let inner = ratatui_core::terminal::Terminal::new(CrosstermBackend::new(io::stdout()))?;
        let mut terminal = Self {
            inner: ManuallyDrop::new(inner),
            signals,
        };
        terminal.take()?;
        Ok(terminal)
    }

    fn take(&mut self) -> io::Result<()> {
        let stderr = divert_stderr();
        *lock(&TAKEN) = Some(Taken { stderr });
        self.signals.usual.store(false, Ordering::SeqCst);
        let taken = enable_raw_mode()
            .and_then(|()| execute!(io::stdout(), EnterAlternateScreen, Hide))
            .and_then(|()| self.repaint());
        if taken.is_err() {
            self.leave();
        }
        taken
    }

    /// Gives the terminal back; doing it twice does nothing.
    pub fn leave(&mut self) {
        give_back();
        self.signals.usual.store(true, Ordering::SeqCst);
    }

    /// Draws the state. After a failed attempt everything is drawn anew next
    /// time, since nobody knows which cells arrived.
    pub fn draw(&mut self, state: &ScreenState) -> io::Result<()> {
        let drawn = self
            .inner
            .draw(|frame| draw(state, frame.buffer_mut()))
            .map(|_| ());
        match drawn {
            Err(error) if error.kind() == io::ErrorKind::WouldBlock => self.repaint(),
            other => other,
        }
    }

    /// Columns and rows.
    pub fn size(&self) -> io::Result<(u16, u16)> {
        self.inner.size().map(|size| (size.width, size.height))
    }

    /// Forgets what was drawn, so that the next draw is whole.
    ///
    /// Not by `clear`, which asks the terminal for the cursor: an answer that
    /// comes after the terminal was given back lands on the command line.
    pub fn repaint(&mut self) -> io::Result<()> {
        // Somebody else may have left a colour behind.
        queue!(io::stdout(), SetAttribute(Attribute::Reset))?;
        let (width, height) = self.size()?;
        self.inner.resize(Rect::new(0, 0, width, height))
    }

    /// Waits for keys.
    ///
    /// Not left to crossterm: once the terminal is gone, it reads the end of
    /// the input for ever and never returns.
    pub fn wait_for_keys(&self, at_most: Duration) -> io::Result<Waited> {
        let stdin = io::stdin();
        let mut watched = [PollFd::new(&stdin, PollFlags::IN)];
        let at_most = Timespec::try_from(at_most).map_err(io::Error::other)?;
        match rustix::event::poll(&mut watched, Some(&at_most)) {
            // A signal; whoever waits looks at the flags now.
            Err(rustix::io::Errno::INTR) => return Ok(Waited::Nothing),
            other => other?,
        };
        let events = watched[0].revents();
        Ok(
            if events.intersects(PollFlags::HUP | PollFlags::ERR | PollFlags::NVAL) {
                Waited::Gone
            } else if events.contains(PollFlags::IN) {
                Waited::Keys
            } else {
                Waited::Nothing
            },
        )
    }

    /// The signal that asks for the end, if one came.
    pub fn ending_signal(&self) -> Option<i32> {
        match self.signals.ended_by.load(Ordering::SeqCst) {
            0 => None,
            signal => i32::try_from(signal).ok(),
        }
    }

    /// True once after somebody outside has asked the program to stop, as
    /// Ctrl-Z does.
    pub fn was_asked_to_stop(&self) -> bool {
        self.signals.stopped.swap(false, Ordering::SeqCst)
    }

    /// True once after the program was stopped from outside and continued:
    /// the terminal may have been used by others since.
    pub fn was_continued(&self) -> bool {
        self.signals.continued.swap(false, Ordering::SeqCst)
    }

    /// Takes the terminal again after others have used it.
    pub fn retake(&mut self) -> io::Result<()> {
        // Whoever had it may have left it in another mode than crossterm
        // remembers.
        disable_raw_mode()?;
        enable_raw_mode()?;
        execute!(io::stdout(), EnterAlternateScreen, Hide)?;
        self.repaint()
    }

    /// Hands the terminal to the shell until the program is continued. False
    /// where there is no shell to go back to.
    pub fn suspend(&mut self) -> io::Result<bool> {
        if is_alone()? {
            return Ok(false);
        }
        self.leave();
        // The whole group, as the terminal itself would do it: whoever started
        // this program in the foreground waits with it.
        self.signals.continued.store(false, Ordering::SeqCst);
        rustix::process::kill_current_process_group(Signal::TSTP)?;
        self.await_continuation();
        self.signals.stopped.store(false, Ordering::SeqCst);
        self.take()?;
        Ok(true)
    }

    /// The signal may be taken by another thread, and then this one runs on
    /// for a moment before everything stands still; taking the terminal now
    /// would leave the shell with it. Where nobody stops the program, it goes
    /// on after a while.
    fn await_continuation(&self) {
        let begun = Instant::now();
        while !self.was_continued() && begun.elapsed() < PATIENCE {
            thread::sleep(Duration::from_millis(5));
        }
    }
}

impl Drop for Terminal {
    fn drop(&mut self) {
        self.leave();
    }
}

impl Signals {
    fn watch() -> io::Result<Self> {
        let signals = Self {
            ended_by: Arc::default(),
            stopped: Arc::default(),
            continued: Arc::default(),
            usual: Arc::new(AtomicBool::new(true)),
        };
        for signal in ENDING_SIGNALS {
            let usual = Arc::clone(&signals.usual);
            signal_hook::flag::register_conditional_default(signal, usual)?;
            let number = usize::try_from(signal).unwrap_or_default();
            let ended_by = Arc::clone(&signals.ended_by);
            signal_hook::flag::register_usize(signal, ended_by, number)?;
        }
        // The terminal is given back before the program stands still. What is
        // noted is noted before it does, not when it goes on.
        signal_hook::flag::register(SIGTSTP, Arc::clone(&signals.stopped))?;
        let usual = Arc::clone(&signals.usual);
        signal_hook::flag::register_conditional_default(SIGTSTP, usual)?;
        signal_hook::flag::register(SIGCONT, Arc::clone(&signals.continued))?;
        watch_for_neglect()?;
        Ok(signals)
    }
}

/// Ends the program by itself where a signal asked for it and the drawing
/// thread does not see to it, because it is held up somewhere.
fn watch_for_neglect() -> io::Result<()> {
    let mut signals = signal_hook::iterator::Signals::new(ENDING_SIGNALS)?;
    thread::Builder::new()
        .name("signals".to_owned())
        .spawn(move || {
            for signal in signals.forever() {
                wait_until_given_back();
                if lock(&TAKEN).is_some() {
                    give_back();
                    end_by(signal);
                }
            }
        })?;
    Ok(())
}

/// Ends the program as the signal would have, so that whoever waits for it
/// sees why it ended.
pub fn end_by(signal: i32) {
    // Only fails for a signal that does not exist.
    let _ = signal_hook::low_level::emulate_default_handler(signal);
}

/// True when a thread has panicked.
pub fn has_panicked() -> bool {
    PANICKED.load(Ordering::SeqCst)
}

/// After the terminal was given back: waits until the report of the thread
/// that panicked is written.
pub fn await_report() {
    let begun = Instant::now();
    while !REPORTED.load(Ordering::SeqCst) && begun.elapsed() < REPORT_PATIENCE {
        thread::sleep(Duration::from_millis(5));
    }
}

/// The leader of a session has no shell that could continue it.
fn is_alone() -> io::Result<bool> {
    Ok(rustix::process::getsid(None)? == rustix::process::getpgrp())
}

/// Exactly once for each time it was taken, whoever comes first.
fn give_back() {
    // Held to the end: who finds it given back may write to standard error.
    let mut held = lock(&TAKEN);
    let Some(taken) = held.take() else {
        return;
    };
    // A terminal that is gone takes nothing back; there is nobody to tell.
    let mut farewell = String::new();
    // A picture that was broken off leaves its colour behind where there is no
    // other screen to leave.
    let _ = SetAttribute(Attribute::Reset).write_ansi(&mut farewell);
    let _ = LeaveAlternateScreen.write_ansi(&mut farewell);
    let _ = Show.write_ansi(&mut farewell);
    let writing = begin_writing(rustix::stdio::stdout(), farewell);
    if is_stuck(&writing) {
        // Then it is the next that the terminal takes, whenever that is.
        let _ = discard_what_waits();
        is_stuck(&writing);
    }
    let _ = disable_raw_mode();
    if let Some(stderr) = taken.stderr {
        let _ = rustix::stdio::dup2_stderr(stderr);
    }
}

/// Tells standard error, but waits for it no longer than the farewell was
/// waited for: a terminal that takes nothing must not keep the program alive.
pub fn tell_at_once(text: String) {
    is_stuck(&begin_writing(rustix::stdio::stderr(), text));
}

/// Writes to the terminal past `io::stdout()`: the thread that draws may hold
/// its lock for as long as the terminal takes nothing, and so would this one.
fn begin_writing(to: BorrowedFd<'static>, text: String) -> Receiver<()> {
    let (done, is_done) = mpsc::channel();
    let thread = thread::Builder::new().name("to terminal".to_owned());
    // Without a thread nothing is written, and nobody waits for it.
    let _ = thread.spawn(move || {
        let mut rest = text.as_bytes();
        while !rest.is_empty() {
            match rustix::io::write(to, rest) {
                Ok(0) => break,
                Ok(written) => rest = &rest[written..],
                Err(rustix::io::Errno::INTR) => {}
                Err(rustix::io::Errno::AGAIN) => thread::sleep(Duration::from_millis(5)),
                Err(_) => break,
            }
        }
        let _ = done.send(());
    });
    is_done
}

fn is_stuck(writing: &Receiver<()>) -> bool {
    writing.recv_timeout(PATIENCE) == Err(RecvTimeoutError::Timeout)
}

/// Throws away what a terminal has not taken yet, and lets it go on where it was
/// stopped, by Ctrl-S perhaps.
fn discard_what_waits() -> rustix::io::Result<()> {
    let terminal = rustix::stdio::stdout();
    tcflush(terminal, QueueSelector::OFlush)?;
    // Whoever waits for room wakes up only when it is started.
    tcflow(terminal, Action::OOff)?;
    tcflow(terminal, Action::OOn)
}

/// Sends standard error to a file and returns the real one; `None` if that
/// cannot be done, and then it stays where it is.
fn divert_stderr() -> Option<OwnedFd> {
    // What goes elsewhere cannot tear the screen.
    if !io::stderr().is_terminal() {
        return None;
    }
    let log = open_log().ok()?;
    let real = rustix::io::fcntl_dupfd_cloexec(rustix::stdio::stderr(), 3).ok()?;
    rustix::stdio::dup2_stderr(log).ok()?;
    Some(real)
}

/// Where what nobody could read meanwhile lies, by the name of its file.
fn log_path(name: &str) -> Option<PathBuf> {
    let folders = directories::ProjectDirs::from("", "", "tapewright")?;
    let folder = folders.state_dir().unwrap_or(folders.data_local_dir());
    Some(folder.join(name))
}

/// A log of the program's own, begun anew where more than that lies in it.
fn own_log(name: &str, most_bytes: u64) -> io::Result<(File, PathBuf)> {
    let path = log_path(name).ok_or(io::ErrorKind::NotFound)?;
    if let Some(folder) = path.parent() {
        std::fs::create_dir_all(folder)?;
    }
    let log = OpenOptions::new().append(true).create(true).open(&path)?;
    if log.metadata()?.len() > most_bytes {
        log.set_len(0)?;
    }
    Ok((log, path))
}

/// Where standard error goes while the screen is up.
fn open_log() -> io::Result<File> {
    let none = |_| OpenOptions::new().write(true).open("/dev/null");
    own_log("screen.log", 0).map(|(log, _)| log).or_else(none)
}

/// From now on a panic in any thread ends the sitting: the terminal is given
/// back, then it is told what happened. Hooks run on the thread that panics: any
/// other than the drawing one first lets the drawing one stop and give the
/// terminal back itself.
pub fn watch_for_panics() {
    static ONCE: Once = Once::new();
    ONCE.call_once(|| {
        std::panic::set_hook(Box::new(move |info| {
            if is_guarded() {
                return;
            }
            PANICKED.store(true, Ordering::SeqCst);
            if *lock(&DRAWING_THREAD) != Some(thread::current().id()) {
                wait_until_given_back();
            }
            give_back();
            tell_at_once(report_of(info));
            REPORTED.store(true, Ordering::SeqCst);
        }));
    });
}

/// A sentence for whoever sits there, with what finds the fault. It lies in a
/// file too, for a terminal may be gone or cleared.
fn report_of(info: &PanicHookInfo) -> String {
    let thread = thread::current();
    let thread = thread.name().unwrap_or("without a name");
    let happened = plain(&info.to_string().replace('\n', " "));
    let failed = format!(
        "tapewright: the program itself has failed, in its thread {thread} ({happened}); what the \
         screen called saved is on the disk"
    );
    let kept = own_log("failure.log", FAILURES_BYTES).and_then(|(mut log, path)| {
        let (version, trace) = (env!("CARGO_PKG_VERSION"), Backtrace::force_capture());
        let now = Timestamp::now();
        // At once: another thread may fail at the same time.
        let report = format!("{now:.0} {failed}\nversion {version}\n{trace}\n");
        log.write_all(report.as_bytes())?;
        Ok(path)
    });
    match kept {
        Ok(path) => format!(
            "{failed}; start it again, and pass {} on to whoever maintains it\n",
            path.display()
        ),
        Err(_) => {
            format!("{failed}; start it again, and pass these words on to whoever maintains it\n")
        }
    }
}

fn wait_until_given_back() {
    let begun = Instant::now();
    while lock(&TAKEN).is_some() && begun.elapsed() < PATIENCE {
        thread::sleep(Duration::from_millis(5));
    }
}

/// A panic elsewhere must not keep the terminal from being given back.
fn lock<T>(mutex: &Mutex<T>) -> std::sync::MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}
