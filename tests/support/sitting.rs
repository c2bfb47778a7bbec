//! A sitting at a live input: the whole program in a window, and what can be
//! seen of it from outside while something is done to the sound under it.

use std::fs;
use std::path::{Path, PathBuf};
use std::thread;
use std::time::{Duration, Instant};

use rustix::process::{Pid, Signal, kill_process};
use serde_json::Value;

use super::large_letters::large_figure;
use super::memory;
use super::preload;
use super::program::PROGRAM;
use super::window::Window;

/// Between two looks at the screen.
const LOOK: Duration = Duration::from_millis(10);

/// How far a figure may lie from the truth at most, whatever ± is said or none:
/// the deviation of the steady tones here is exact within a tenth of a second.
const AT_MOST_PERCENT: f64 = 0.1;

/// Half of the last decimal of the large figure.
const ROUNDING_PERCENT: f64 = 0.005;

/// A picture comes in pieces: what stands for a shorter time nobody reads.
const READABLE: Duration = Duration::from_millis(120);

pub struct Sitting {
    pub window: Window,
    folder: PathBuf,
    pid: i32,
}

impl Sitting {
    /// The program on the screen, with nothing wrong.
    pub fn begin(folder: &Path, arguments: &str) -> Self {
        let window = Self::window_with(folder, "", arguments);
        window.wait_for("tapewright  ");
        let pid = fs::read_to_string(folder.join("pid")).expect("its number");
        Self {
            window,
            folder: folder.to_owned(),
            pid: pid.trim().parse().expect("a number"),
        }
    }

    /// A window in which `tapewright watch` runs with these arguments, a log and a
    /// folder of data, its ALSA under a fault of `alsa_faults.c` from the start.
    pub fn window_with(folder: &Path, fault: &str, arguments: &str) -> Window {
        let library = preload::built("alsa_faults", folder);
        fs::write(folder.join("fault"), fault).expect("room");
        let window = Window::of(120, 30);
        let [home, library] = [folder, &library].map(|it| it.display().to_string());
        // The shell of the window is not to see it stopped, nor does the one
        // between them give its place to it.
        window.type_line(&format!(
            "sh -c 'sh -c \"echo \\$\\$ > {home}/pid; exec env LD_PRELOAD={library} \
             ALSA_FAULTS={home} {PROGRAM} watch --data {home}/data --log {home}/log.jsonl \
             {arguments}\"; exit $?'"
        ));
        window
    }

    /// Stops the whole program, or lets it go on.
    pub fn stop(&self, stopped: bool) {
        let signal = if stopped { Signal::STOP } else { Signal::CONT };
        let pid = Pid::from_raw(self.pid).expect("no zero");
        kill_process(pid, signal).expect("it runs");
    }

    /// Puts a fault of `alsa_faults.c` in force, or none.
    pub fn fault(&self, fault: &str) {
        // A file that is half written would be another fault.
        let next = self.folder.join("next");
        fs::write(&next, fault).expect("room");
        fs::rename(next, self.folder.join("fault")).expect("the same folder");
    }

    /// Errors that ALSA gave the program so far, injected or not.
    pub fn alsa_errors(&self) -> u64 {
        let said = fs::read_to_string(self.folder.join("said")).expect("begun with it");
        said.lines().count() as u64
    }

    fn proc(&self, name: &str) -> PathBuf {
        PathBuf::from(format!("/proc/{}/{name}", self.pid))
    }

    /// Open files, and threads.
    pub fn files_and_threads(&self) -> (usize, usize) {
        let count = |name| fs::read_dir(self.proc(name)).expect("it runs").count();
        (count("fd"), count("task"))
    }

    /// Memory in use, in KiB.
    pub fn memory_kib(&self) -> u64 {
        memory::resident_kib(&self.pid.to_string()).expect("it runs")
    }

    /// The seconds of the log so far.
    pub fn log(&self) -> Vec<Value> {
        let text = fs::read_to_string(self.folder.join("log.jsonl")).expect("a log");
        let whole = text.rfind('\n').map_or("", |end| &text[..end]);
        let lines = whole.lines().skip(1);
        let lines = lines.map(|line| serde_json::from_str(line).expect("JSON"));
        lines
            .filter(|it: &Value| it.get("tone").is_some())
            .collect()
    }

    /// What is on the screen now.
    pub fn look(&self) -> Shown {
        Shown::of(self.window.screen())
    }

    /// Looks until it is as described, and how long that took from `begun`;
    /// `each` hears of every screen until then.
    pub fn until(
        &self,
        begun: Instant,
        limit: Duration,
        what: &str,
        is_so: impl Fn(&Shown) -> bool,
        mut each: impl FnMut(&Shown),
    ) -> Duration {
        loop {
            let shown = self.look();
            each(&shown);
            let took = begun.elapsed();
            if is_so(&shown) {
                return took;
            }
            assert!(took < limit, "not within {limit:?}: {what}\n{}", shown.text);
            thread::sleep(LOOK);
        }
    }
}

/// A screen, read as a technician reads it.
#[derive(Clone, Debug)]
pub struct Shown {
    pub text: String,
    pub at: Instant,
    /// The large figure.
    pub percent: Option<f64>,
    /// Its ±, where one is said.
    pub within: Option<f64>,
    /// Not marked as the last one before a loss.
    pub is_live: bool,
    pub is_lost: bool,
    pub is_settled: bool,
}

impl Shown {
    pub fn of(text: String) -> Self {
        Self {
            at: Instant::now(),
            percent: large_figure(&text),
            within: text.lines().find_map(stated),
            is_live: !text.contains("NOT LIVE"),
            is_lost: text.contains("LOST"),
            is_settled: text.contains(" settled "),
            text,
        }
    }

    /// Whether it has these words, however they fall into lines.
    pub fn says(&self, words: &str) -> bool {
        let text: Vec<&str> = self.text.split_whitespace().collect();
        text.join(" ").contains(words)
    }

    /// Whether the figure, if there is one, is this truth within what is said.
    pub fn agrees(&self, truth_percent: f64) -> bool {
        let within = self
            .within
            .map_or(AT_MOST_PERCENT, |it| it.min(AT_MOST_PERCENT));
        let within = within + ROUNDING_PERCENT;
        self.percent
            .is_none_or(|percent| (percent - truth_percent).abs() <= within)
    }

    /// A live figure, and it is this.
    pub fn reads(&self, truth_percent: f64) -> bool {
        self.is_live && self.percent.is_some() && self.agrees(truth_percent)
    }

    /// The rate that the input was opened with.
    pub fn rate_hz(&self) -> Option<u32> {
        let before = self.text.lines().next()?.split_once(" Hz ")?.0;
        before.rsplit(' ').next()?.parse().ok()
    }

    /// The number after a word, 0 where the word is not there.
    pub fn count(&self, word: &str) -> u64 {
        let after = self.text.split_once(word).map(|(_, after)| after);
        let digits = after.map(|it| it.trim_start().chars().take_while(char::is_ascii_digit));
        digits.map_or(0, |it| it.collect::<String>().parse().unwrap_or(0))
    }
}

/// The ± of the verdict's row, before that of the band.
fn stated(line: &str) -> Option<f64> {
    let before = line.split_once("  band ")?.0;
    let number = before.split_once('±')?.1.trim_start();
    let end = number.find(|c: char| !c.is_ascii_digit() && c != '.');
    number[..end.unwrap_or(number.len())].parse().ok()
}

/// Finds figures that are none of the truths and stand long enough to be read.
pub struct Truths {
    percent: Vec<f64>,
    wrong_since: Option<Instant>,
    /// Screens with a live figure.
    pub figures: usize,
}

impl Truths {
    pub fn new(percent: &[f64]) -> Self {
        Self {
            percent: percent.to_vec(),
            wrong_since: None,
            figures: 0,
        }
    }

    pub fn see(&mut self, shown: &Shown) {
        self.figures += usize::from(shown.is_live && shown.percent.is_some());
        if !shown.is_live || self.percent.iter().any(|it| shown.agrees(*it)) {
            self.wrong_since = None;
            return;
        }
        let since = *self.wrong_since.get_or_insert(shown.at);
        let stood = shown.at - since;
        assert!(
            stood < READABLE,
            "a figure that is none of {:?} for {stood:?}:\n{}",
            self.percent,
            shown.text
        );
    }
}
