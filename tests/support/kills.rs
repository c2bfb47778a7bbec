//! Kills the real program (SIGKILL) at moments by chance, on terminals of its own,
//! while it keeps a log, notes, snapshots and checks of the wiper, mostly with a
//! second program on the same job; then holds what is on the disk against what
//! the screen had said is saved.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicUsize, Ordering::Relaxed};
use std::thread::{self, ScopedJoinHandle};
use std::time::{Duration, Instant};

use rustix::process::{Pid, Signal, kill_process};
use serde_json::Value;
use tapewright::records::{Fault, Job, JobFile};

use super::dice::Dice;
use super::played_pipe::PlayedPipe;
use super::program::{Folder, PROGRAM};
use super::stalls::Stalls;
use super::window::Window;

/// Sittings on one job before another is begun: it goes on after many kills, and
/// its file stays short enough to be read again after each.
const SITTINGS: usize = 6;

/// How often the screen and the log are looked at.
const LOOK: Duration = Duration::from_millis(4);

/// What one more try takes at most, however busy the machine is.
const PATIENCE: Duration = Duration::from_secs(90);

/// A log may lose a second: a line that was due a second before the kill is there.
const LOSABLE: Duration = Duration::from_secs(1);

/// What came of it.
#[derive(Debug, Default)]
pub struct Counts {
    pub kills: usize,
    pub beside_another: usize,
    pub sittings: usize,
    pub snapshots: usize,
    pub notes: usize,
    pub wipers: usize,
    /// Found on the disk although the screen had not said so yet.
    pub unsaid: usize,
    /// Torn last lines that were reported and set aside.
    pub torn: usize,
    pub log_lines: usize,
    /// Torn last lines of logs.
    pub log_torn: usize,
    /// Age of the newest line at the kill, of machines played at their own pace.
    pub oldest_newest_line_s: f64,
    /// All that was acknowledged and is not there, twice there or unreadable.
    pub wrong: Vec<String>,
}

impl fmt::Display for Counts {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "kills {} ({} beside another program on the same job), sittings {}; acknowledged: \
             snapshots {}, notes {}, wiper checks {}; lost or doubled {}; on the disk before the \
             screen said so {}; torn lines set aside {}; log lines {}, torn {}, newest line at \
             the kill at most {:.2} s old",
            self.kills,
            self.beside_another,
            self.sittings,
            self.snapshots,
            self.notes,
            self.wipers,
            self.wrong.len(),
            self.unsaid,
            self.torn,
            self.log_lines,
            self.log_torn,
            self.oldest_newest_line_s,
        )
    }
}

impl Counts {
    fn add(&mut self, more: Self) {
        self.kills += more.kills;
        self.beside_another += more.beside_another;
        self.sittings += more.sittings;
        self.snapshots += more.snapshots;
        self.notes += more.notes;
        self.wipers += more.wipers;
        self.unsaid += more.unsaid;
        self.torn += more.torn;
        self.log_lines += more.log_lines;
        self.log_torn += more.log_torn;
        self.oldest_newest_line_s = self.oldest_newest_line_s.max(more.oldest_newest_line_s);
        self.wrong.extend(more.wrong);
    }

    /// Nothing that the screen acknowledged is lost.
    #[track_caller]
    pub fn assert_nothing_lost(&self) {
        assert!(self.wrong.is_empty(), "{self}\n{}", self.wrong.join("\n"));
        assert!(self.snapshots > 0 && self.notes > 0, "{self}");
        assert!(self.log_lines > self.kills, "{self}");
    }
}

/// Kills this number of programs at least, on several jobs at once.
pub fn kill_them(kills: usize, at_once: usize, seed: u64) -> Counts {
    let left = AtomicUsize::new(kills);
    let work = |bench: usize| {
        let mut dice = Dice::new(seed + bench as u64);
        let mut counts = Counts::default();
        let mut simulated = bench % 2 == 1;
        while left.load(Relaxed) > 0 {
            let mut job = JobUnderFire::new(simulated);
            simulated = !simulated;
            for _ in 0..SITTINGS {
                let before = counts.kills;
                counts.add(job.sit(&mut dice));
                let killed = counts.kills - before;
                let _ = left.fetch_update(Relaxed, Relaxed, |it| Some(it.saturating_sub(killed)));
                if left.load(Relaxed) == 0 {
                    break;
                }
            }
            counts.torn += job.torn();
            counts.unsaid += job.unsaid();
        }
        counts
    };
    let mut all = Counts::default();
    thread::scope(|scope| {
        let work = &work;
        let benches: Vec<_> = (0..at_once)
            .map(|bench| scope.spawn(move || work(bench)))
            .collect();
        for bench in benches {
            all.add(bench.join().expect("a bench panicked"));
        }
    });
    all
}

/// What somebody does at the screen.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Deed {
    Note(String),
    Named(String),
    Before,
    After,
    Wiper,
}

impl Deed {
    /// As the screen calls it once it is kept.
    fn name(&self) -> &str {
        match self {
            Self::Note(_) => "note",
            Self::Named(name) => name,
            Self::Before => "before",
            Self::After => "after",
            Self::Wiper => "wiper check",
        }
    }
}

/// A job that several sittings are held on, all of them killed.
struct JobUnderFire {
    folder: Folder,
    simulated: bool,
    begun: Vec<Deed>,
    acknowledged: Vec<Deed>,
    next: usize,
}

/// One program on a terminal of its own.
struct Victim {
    window: Window,
    pid: Pid,
    log: PathBuf,
    pipe: Option<PlayedPipe>,
}

/// What one program had acknowledged when it was killed, and what its log lacks.
#[derive(Default)]
struct Killed {
    begun: Vec<Deed>,
    acknowledged: Vec<Deed>,
    counts: Counts,
}

impl JobUnderFire {
    fn new(simulated: bool) -> Self {
        Self {
            folder: Folder::new(),
            simulated,
            begun: Vec::new(),
            acknowledged: Vec::new(),
            next: 0,
        }
    }

    fn file(&self) -> PathBuf {
        let folder = if self.simulated { "rehearsals" } else { "jobs" };
        self.folder.path("data").join(folder).join("a.jsonl")
    }

    /// One or two programs, each killed at a moment of its own.
    fn sit(&mut self, dice: &mut Dice) -> Counts {
        let count = if dice.unit() < 0.7 { 2 } else { 1 };
        let victims: Vec<Victim> = (0..count).map(|_| self.start()).collect();
        let plans = victims.into_iter().map(|victim| {
            self.next += 1;
            (victim, Plan::by(dice, self.next, self.simulated))
        });
        let plans: Vec<_> = plans.collect();
        let killed: Vec<Killed> = thread::scope(|scope| {
            let at_work: Vec<_> = plans
                .into_iter()
                .map(|(victim, plan)| scope.spawn(move || victim.until_killed(plan)))
                .collect();
            let joined = at_work.into_iter().map(ScopedJoinHandle::join);
            joined.map(|it| it.expect("a sitting panicked")).collect()
        });
        let mut counts = Counts {
            sittings: 1,
            beside_another: if count > 1 { count } else { 0 },
            ..Counts::default()
        };
        for one in killed {
            self.acknowledged.extend(one.acknowledged);
            self.begun.extend(one.begun);
            counts.add(one.counts);
        }
        counts.wrong.extend(self.wrong());
        counts
    }

    fn start(&self) -> Victim {
        let window = Window::open();
        let data = self.folder.path("data").display().to_string();
        let mut pipe = None;
        let what = if self.simulated {
            "practise".to_owned()
        } else {
            let path = window.home().join("tape.wav");
            pipe = Some(PlayedPipe::begin(&path));
            "watch --fast --file tape.wav --reference 3150 --machine 'deck 4'".to_owned()
        };
        let opened = JobFile::open(self.file()).unwrap_or_else(|error| panic!("{error}"));
        let job = opened.0.job();
        let news = if opened.0.is_begun() {
            format!("job a goes on: {}", in_words(job))
        } else {
            "new job a".to_owned()
        };
        window.type_line(&format!(
            "echo $$ > pid; exec '{PROGRAM}' {what} --data '{data}' --job a --log log.jsonl"
        ));
        // With what is odd about its file before it, which may be longer than a line.
        let is_torn = !opened.1.is_empty();
        window.wait_until(&news, |screen| is_torn || screen.contains(&news));
        window.wait_for("tone found");
        let pid = fs::read_to_string(window.home().join("pid")).expect("its number");
        let pid = pid.trim().parse().ok().and_then(Pid::from_raw);
        Victim {
            log: window.home().join("log.jsonl"),
            pid: pid.expect("a number"),
            window,
            pipe,
        }
    }

    /// What was acknowledged and is not there, and what is there more often than it
    /// was done.
    fn wrong(&self) -> Vec<String> {
        let (file, warnings) = match JobFile::open(self.file()) {
            Ok(opened) => opened,
            Err(error) => return vec![format!("nothing can be read: {error}")],
        };
        let odd = warnings.iter().filter(|it| it.fault != Fault::Torn);
        let mut wrong: Vec<String> = odd.map(ToString::to_string).collect();
        let there = deeds_in(file.job());
        for (deed, count) in counted(&self.acknowledged) {
            let found = there.get(&deed).copied().unwrap_or(0);
            if found < count {
                wrong.push(format!("{deed:?}: {found} of {count} are there"));
            }
        }
        let begun = counted(&self.begun);
        for (deed, count) in &there {
            let begun = begun.get(deed).copied().unwrap_or(0);
            if *count > begun {
                wrong.push(format!("{deed:?}: {count} are there, {begun} were begun"));
            }
        }
        let ids: BTreeSet<&str> = file.job().snapshots.iter().map(|it| &*it.id).collect();
        if ids.len() < file.job().snapshots.len() {
            wrong.push("two snapshots with one id".to_owned());
        }
        wrong.extend(self.told_by_the_program());
        wrong
    }

    /// Found on the disk although the screen had not said so yet.
    fn unsaid(&self) -> usize {
        let job = JobFile::open(self.file()).map(|it| deeds_in(it.0.job()));
        let there: usize = job.map_or(0, |it| it.values().sum());
        there.saturating_sub(self.acknowledged.len())
    }

    /// The same as the program itself reads it.
    fn told_by_the_program(&self) -> Vec<String> {
        let path = self.file().display().to_string();
        let export = format!("jobs export '{path}' --into out --format json --replace");
        let told = self.folder.run(&export);
        if told.status != Some(0) {
            return vec![told.said()];
        }
        let text = fs::read_to_string(self.folder.path("out/a.json")).unwrap_or_default();
        let missing = self.acknowledged.iter().filter_map(|deed| match deed {
            Deed::Note(text) | Deed::Named(text) => Some(format!("\"{text}\"")),
            _ => None,
        });
        missing
            .filter(|name| !text.contains(&**name))
            .map(|name| format!("{name} is not in the tables"))
            .collect()
    }

    fn torn(&self) -> usize {
        let torn = self.file().with_extension("jsonl.torn");
        fs::read_to_string(torn).map_or(0, |it| it.lines().count())
    }
}

fn counted(deeds: &[Deed]) -> BTreeMap<Deed, usize> {
    let mut counts = BTreeMap::new();
    for deed in deeds {
        *counts.entry(deed.clone()).or_default() += 1;
    }
    counts
}

/// What is in a job, each under the name that it was done under.
fn deeds_in(job: &Job) -> BTreeMap<Deed, usize> {
    let notes = job.notes.iter().map(|it| Deed::Note(it.text.clone()));
    let snapshots = job.snapshots.iter().map(|it| match it.label.to_string() {
        label if label == "before" => Deed::Before,
        label if label == "after" => Deed::After,
        label => Deed::Named(label),
    });
    let wipers = job.wipers.iter().map(|_| Deed::Wiper);
    let all: Vec<Deed> = notes.chain(snapshots).chain(wipers).collect();
    counted(&all)
}

/// As the screen tells of a job that goes on.
fn in_words(job: &Job) -> String {
    let counted = [
        (job.snapshots.len(), "snapshot"),
        (job.wipers.len(), "wiper check"),
        (job.notes.len(), "note"),
    ];
    let words: Vec<String> = (counted.iter().filter(|(count, _)| *count > 0))
        .map(|(count, what)| format!("{count} {what}{}", if *count == 1 { "" } else { "s" }))
        .collect();
    if words.is_empty() {
        "nothing kept yet".to_owned()
    } else {
        words.join(", ")
    }
}

/// What is done until the kill.
struct Plan {
    deeds: Vec<Deed>,
    /// From the last key of the last deed.
    delay: Duration,
}

impl Plan {
    /// Notes between, so that no acknowledgement looks like the one before it.
    fn by(dice: &mut Dice, number: usize, simulated: bool) -> Self {
        let count = 1 + dice.below(if simulated { 4 } else { 8 });
        let mut deeds = Vec::new();
        for nth in 0..count {
            if nth % 2 == 0 {
                deeds.push(Deed::Note(format!("note {number}.{nth}")));
                continue;
            }
            let named = Deed::Named(format!("n{number}.{nth}"));
            deeds.push(match dice.below(6) {
                0 => Deed::Before,
                1 => Deed::After,
                2 if !simulated => Deed::Wiper,
                _ => named,
            });
        }
        // Half of them close to the writing of what was done last.
        let long_s = if simulated { 8.0 } else { 1.5 };
        let most_s = if dice.unit() < 0.5 { 0.04 } else { long_s };
        Self {
            deeds,
            delay: Duration::from_secs_f64(dice.between(0.0, most_s)),
        }
    }
}

impl Victim {
    fn until_killed(self, plan: Plan) -> Killed {
        let mut killed = Killed::default();
        let mut newest = Newest {
            length: 0,
            seen: None,
            stalls: Stalls::watch(),
        };
        let last = plan.deeds.len() - 1;
        for (nth, deed) in plan.deeds.into_iter().enumerate() {
            killed.begun.push(deed.clone());
            let pressed = self.begin(&deed);
            let kill_at = (nth == last).then(|| pressed + plan.delay);
            let said = format!("kept {}, saved in job a", deed.name());
            let until = pressed + PATIENCE;
            let is_said = loop {
                newest.look(&self.log);
                let screen = self.window.screen();
                assert!(!screen.contains("NOT SAVED"), "{screen}");
                let is_said = screen.contains(&said);
                let now = Instant::now();
                if kill_at.map_or(is_said, |at| now >= at) {
                    break is_said;
                }
                assert!(now < until, "waited in vain for \"{said}\" on\n{screen}");
                thread::sleep(LOOK);
            };
            if nth == last {
                self.kill(&mut newest, &mut killed.counts);
                // What it had written to the terminal before counts too.
                if is_said || self.window.screen().contains(&said) {
                    killed.acknowledge(deed);
                }
            } else {
                killed.acknowledge(deed);
            }
        }
        killed
    }

    /// Presses the keys for it; the moment of the last of them.
    fn begin(&self, deed: &Deed) -> Instant {
        match deed {
            Deed::Note(text) => self.window.type_line(&format!("e{text}")),
            Deed::Named(name) => self.window.type_line(&format!("n{name}")),
            Deed::Before => self.window.press("b"),
            Deed::After => self.window.press("a"),
            Deed::Wiper => {
                self.window.press("w");
                let pipe = self.pipe.as_ref().expect("a tape that is played here");
                pipe.sweep();
                self.window.press("w");
            }
        }
        Instant::now()
    }

    fn kill(&self, newest: &mut Newest, counts: &mut Counts) {
        let fed_s = self.pipe.as_ref().map(|it| it.fed_s(LOSABLE));
        kill_process(self.pid, Signal::KILL).expect("it ran until now");
        let (at, late_s) = (Instant::now(), newest.stalls.take().as_secs_f64());
        // The last of what it wrote is on its way to the test's end of the terminal.
        self.window.wait_until("the rest", |_| {
            is_gone(self.pid) && at.elapsed() > 10 * LOOK
        });
        counts.kills += 1;
        newest.look(&self.log);
        let (lines, is_torn, wrong) = log_lines(&self.log);
        counts.log_lines += lines;
        counts.log_torn += usize::from(is_torn);
        counts.wrong.extend(wrong);
        if let Some(fed_s) = fed_s {
            if lines < fed_s as usize {
                let wrong = format!("{lines} lines in the log of {fed_s:.1} s fed a second before");
                counts.wrong.push(wrong);
            }
            return;
        }
        // A machine at its own pace has a line every second. Of those that are
        // due one may be missing, and a second is under way.
        let age = newest.seen.map_or(0.0, |seen| (at - seen).as_secs_f64());
        counts.oldest_newest_line_s = age;
        if age > 1.0 + LOSABLE.as_secs_f64() + late_s {
            let wrong = format!(
                "the newest line of the log was {age:.2} s old, {late_s:.2} s of it the machine's"
            );
            counts.wrong.push(wrong);
        }
    }
}

impl Killed {
    fn acknowledge(&mut self, deed: Deed) {
        match deed {
            Deed::Note(_) => self.counts.notes += 1,
            Deed::Wiper => self.counts.wipers += 1,
            _ => self.counts.snapshots += 1,
        }
        self.acknowledged.push(deed);
    }
}

/// When a log grew last, and what the machine held up since.
struct Newest {
    length: u64,
    seen: Option<Instant>,
    stalls: Stalls,
}

impl Newest {
    fn look(&mut self, log: &Path) {
        let length = fs::metadata(log).map_or(0, |it| it.len());
        if length > self.length {
            self.length = length;
            self.seen = Some(Instant::now());
            self.stalls.take();
        }
    }
}

/// Whether it has ended, though nobody has waited for it yet.
fn is_gone(pid: Pid) -> bool {
    let stat = fs::read_to_string(format!("/proc/{}/stat", pid.as_raw_nonzero()));
    stat.map_or(true, |it| it.contains(") Z "))
}

/// Whole seconds in a log, whether its last line is torn, and what else is odd.
fn log_lines(log: &Path) -> (usize, bool, Vec<String>) {
    let text = fs::read_to_string(log).unwrap_or_default();
    let mut lines: Vec<Result<Value, _>> = text.lines().map(serde_json::from_str).collect();
    let is_torn = lines.pop_if(|line| line.is_err()).is_some();
    let mut wrong = Vec::new();
    let mut seconds = 0;
    for (nth, line) in lines.iter().enumerate() {
        match line {
            Err(error) => wrong.push(format!("line {nth} of a log: {error}")),
            Ok(line) if nth == 0 && line["schema"] == "tapewright.log/1" => {}
            // Once a minute.
            Ok(line) if line.get("lines").is_some() => {}
            Ok(line) => {
                let skipped = line["skipped"].as_u64().unwrap_or(0) as usize;
                seconds += 1;
                if line["at_s"].as_u64() != Some((seconds + skipped) as u64) {
                    wrong.push(format!(
                        "line {nth} of a log is no second {seconds}: {line}"
                    ));
                }
            }
        }
    }
    (seconds, is_torn, wrong)
}
