//! Everything that is drawn, as one value. It changes when a newer
//! [`LiveState`] is taken, when an action is carried out, or when an effect
//! reports back; it knows no terminal, no clock and no file. Its constants are
//! choices, unless they say otherwise.

pub(in crate::screen) mod action;
pub(in crate::screen) mod choosing;
pub(in crate::screen) mod contact;
pub(in crate::screen) mod earlier;
pub(in crate::screen) mod event;
pub(in crate::screen) mod heard;
pub(in crate::screen) mod ident;
pub(in crate::screen) mod input;
pub(in crate::screen) mod job;
pub(in crate::screen) mod job_page;
pub(in crate::screen) mod lines;
pub(in crate::screen) mod listening;
pub(in crate::screen) mod long_run;
pub(in crate::screen) mod overlay;
pub(in crate::screen) mod routine;
pub(in crate::screen) mod runs;
pub(in crate::screen) mod supply;
pub(in crate::screen) mod ticks;
pub(in crate::screen) mod update;
pub(in crate::screen) mod view;
pub(in crate::screen) mod wiper;

use std::path::PathBuf;
use std::sync::Arc;

use jiff::tz::TimeZone;

use self::choosing::Choice;
use self::earlier::EarlierJobs;
use self::heard::Heard;
use self::input::KnownInput;
use self::job::{Entrusted, OpenJob, Thing};
use self::lines::{Lesson, Wavering};
use self::listening::Listening;
use self::long_run::LongRun;
use self::overlay::Overlay;
use self::routine::{KeepWatch, Routine, RunUp};
use self::runs::{PlannedRun, Runs};
use self::supply::SupplyRun;
use self::ticks::TicksShown;
use self::view::View;
use self::wiper::Swept;
use crate::audio::analysis::{Contacting, LiveState, Request, SourceState};
use crate::audio::rehearsal_source::{BenchCommand, BenchStatus};
use crate::readings::contact::ContactReport;
use crate::readings::{
    Conditions, Keeping, Likely, Measurement, Nominal, Position, Problem, Reading, ReferenceKind,
    SweepReport, Sweeping, TapeIdent,
};
use crate::records::Run;
use crate::references::parts::PartsCard;
use crate::references::{Reference, TapeCard, Tolerance, same_machine};
use crate::report::sweep::Between;
use crate::screen::look::Look;
use crate::screen::scale::{DRIFT_SCALES, FLUTTER_SCALES, NEEDLE_SCALES, ZoomingScale};
use crate::units::Hertz;

/// Columns and rows below which nothing useful can be shown.
pub const SMALLEST: (u16, u16) = (50, 14);

/// Too little of it can be seen on a terminal of this size to let anything happen.
pub(super) fn is_too_small((width, height): (u16, u16)) -> bool {
    width < SMALLEST.0 || height < SMALLEST.1
}

/// What the samples come from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SourceKind {
    /// A sound input.
    Input,
    /// A recording.
    Recording,
    /// The simulated machine.
    Rehearsal,
}

/// Which unit leads the digits; the others stand small beside it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Lead {
    /// Percent of nominal speed.
    #[default]
    Percent,
    /// Cents.
    Cents,
    /// The frequency itself.
    Hertz,
}

impl Lead {
    /// The next, for a key that goes round.
    pub fn next(self) -> Self {
        match self {
            Self::Percent => Self::Cents,
            Self::Cents => Self::Hertz,
            Self::Hertz => Self::Percent,
        }
    }
}

/// What a snapshot is kept as.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Slot {
    /// Before the work.
    Before,
    /// After the work.
    After,
    /// At a place along the tape.
    Along(Position),
    /// Under a name of its own.
    Named(String),
}

impl Slot {
    /// As it stands on screen.
    pub fn name(&self) -> &str {
        match self {
            Self::Before => "before",
            Self::After => "after",
            Self::Along(position) => position.name(),
            Self::Named(name) => name,
        }
    }
}

/// A snapshot of this sitting, or one that stood in its job.
#[derive(Clone, Debug)]
pub struct Kept {
    /// What it was kept as.
    pub slot: Slot,
    /// The figures.
    pub measurement: Arc<Measurement>,
    /// When it counted as right.
    pub tolerance: Tolerance,
    /// Name of the machine when it was kept.
    pub machine: Option<String>,
    /// Supply voltage of the machine, if somebody said.
    pub supply_volts: Option<f64>,
    /// Card of the tape that it was measured with.
    pub tape: Option<TapeCard>,
    /// Machine that the tape was recorded on, if somebody said.
    pub recorded_on: Option<String>,
    /// It was measured in this sitting.
    pub is_new: bool,
    /// Speed and direction, if the sitting has several.
    pub run: Option<Run>,
    /// The newest check of this trimmer's wiper.
    pub wiper: Option<Arc<SweepReport>>,
    /// The last one before it was cleaned.
    pub wiper_at_first: Option<Arc<SweepReport>>,
    /// How often it was cleaned for what a sweep had found.
    pub wiper_cleanings: Option<usize>,
    /// Name of the source when it was kept.
    pub source: String,
}

/// What a line of text is being typed for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum EntryFor {
    /// The name of a snapshot.
    Snapshot,
    /// The name of the machine on the bench.
    Machine,
    /// A note.
    Note,
    /// The supply voltage of the machine.
    Supply,
    /// The next voltage of a supply run.
    RunVoltage,
    /// A tolerance band of one's own.
    Tolerance,
    /// What stands behind the colon of a reference of this kind.
    Reference(ReferenceKind),
    /// The machine that the tape was recorded on.
    RecordedOn,
    /// The part that makes the marked line.
    Part,
}

/// A line of text that is being typed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Entry {
    /// What for.
    pub purpose: EntryFor,
    /// So far.
    pub text: String,
}

/// What must be done outside of the screen.
#[derive(Clone, Debug)]
pub enum Effect {
    /// Ask the analysis for something.
    Ask(Request),
    /// Do something to the simulated machine.
    Bench(BenchCommand),
    /// Write it into the job; its result is an `Event` once it is known.
    Save(Entrusted),
    /// Look for the earlier jobs of this machine; what is found is an `Event`.
    LookBack(Option<String>),
    /// Make this job the present one, in place of that of this machine; what
    /// comes of it is an `Event`.
    OpenJob(PathBuf, Option<String>),
    /// Measure by another reference, with the machine of this name; what comes
    /// of it is an `Event`.
    Choose(Choice, Option<String>),
    /// Put a part on the card of a machine; its result is an `Event` once it is
    /// known.
    Learn(Box<Lesson>),
    /// Leave.
    Quit,
    /// Leave as an interrupt does.
    Interrupt,
    /// Hand the terminal back until continued.
    Suspend,
    /// Draw everything anew.
    Repaint,
}

/// How a screen begins.
#[derive(Clone, Debug)]
pub struct Setup {
    /// What the terminal can show.
    pub look: Look,
    /// What the samples come from.
    pub kind: SourceKind,
    /// What is measured against.
    pub conditions: Conditions,
    /// When it counts as right.
    pub tolerance: Tolerance,
    /// Name of the machine on the bench.
    pub machine: Option<String>,
    /// What the tape carries.
    pub reference: Reference,
    /// Card of the tape that is used.
    pub tape: Option<TapeCard>,
    /// Cards to choose from.
    pub cards: Vec<TapeCard>,
    /// Card of the machine's parts.
    pub parts: Option<PartsCard>,
    /// Cards of parts of this bench, to choose from.
    pub parts_cards: Vec<PartsCard>,
    /// Its speeds and directions in the order of the work; empty where it has
    /// one of each.
    pub runs: Vec<PlannedRun>,
    /// The job that was named.
    pub job: Option<OpenJob>,
    /// Where the user is, for days and times.
    pub zone: TimeZone,
    /// A first message.
    pub message: Option<String>,
}

/// Everything that is drawn.
#[derive(Clone, Debug)]
pub struct ScreenState {
    /// What the terminal can show.
    pub look: Look,
    /// What the samples come from.
    pub kind: SourceKind,
    /// What is measured against.
    pub conditions: Conditions,
    /// When it counts as right.
    pub tolerance: Tolerance,
    /// What the middle of the screen is for.
    pub view: View,
    /// The speeds and directions of the machine.
    pub runs: Runs,
    /// Sweeps of this run's trimmer that were judged in this sitting, oldest
    /// first.
    pub sweeps: Vec<Swept>,
    /// The trimmer was cleaned since the last sweep.
    pub(in crate::screen) cleaned_since_sweep: bool,
    /// Checks of contacts that were done in this sitting, oldest first.
    pub contacts: Vec<Arc<ContactReport>>,
    /// Which unit leads.
    pub lead: Lead,
    /// The newest of the analysis.
    pub live: Arc<LiveState>,
    /// Scale of the needle.
    pub needle_scale: ZoomingScale,
    /// Common scale of the bars for wow and flutter.
    pub flutter_scale: ZoomingScale,
    /// Scale of the drift bar.
    pub drift_scale: ZoomingScale,
    /// What lies over the screen and takes all keys.
    pub overlay: Option<Overlay>,
    /// The steps of the job.
    pub routine: Routine,
    /// Columns and rows of the terminal.
    pub size: (u16, u16),
    /// Snapshots of this sitting and of the job that was opened, oldest first.
    pub kept: Vec<Kept>,
    /// The same as they were when another job was opened.
    pub(in crate::screen) left: Vec<Vec<Kept>>,
    /// What is being kept right now.
    pub keeping: Option<Slot>,
    /// The run through the whole tape that is under way.
    pub long_run: Option<LongRun>,
    /// One line of news; the next key that acts on the bench takes it away.
    pub message: Option<String>,
    /// Name of the machine on the bench.
    pub machine: Option<String>,
    /// How often it was named anew.
    pub(in crate::screen) naming: u32,
    /// What the tape carries.
    pub(in crate::screen) reference: Reference,
    /// Card of the tape that is used.
    pub tape: Option<TapeCard>,
    /// Machine that the tape was recorded on, as somebody said here.
    pub recorded_on: Option<String>,
    /// Cards to choose from.
    pub(in crate::screen) cards: Vec<TapeCard>,
    /// Card of the machine's parts, that its lines are held against.
    pub parts: Option<PartsCard>,
    /// What wavers, and which parts may do it.
    pub(in crate::screen) wavering: Wavering,
    /// Supply voltage kept with the next snapshots.
    pub supply_volts: Option<f64>,
    /// The run through supply voltages.
    pub(in crate::screen) supply: SupplyRun,
    /// The simulated machine.
    pub bench: Option<BenchStatus>,
    /// Ticks out of a sound output, where they were asked for.
    pub ticks: Option<TicksShown>,
    /// The copy beside the tape, if it is to sound.
    pub listening: Option<Listening>,
    /// What was measured by before the tone of this tape was chosen by a key.
    pub(in crate::screen) before_answer: Option<(Nominal, Reference)>,
    /// Leaving was asked for while something was not saved.
    pub leaving: bool,
    /// The stretch that was taken last, so that it is not taken twice.
    pub(in crate::screen) last_done: Option<Arc<Measurement>>,
    /// The sweep that was taken last, likewise.
    pub(in crate::screen) last_sweep: Option<Arc<SweepReport>>,
    /// What earlier readings told.
    pub(in crate::screen) heard: Heard,
    /// What ran when it was looked last.
    pub(in crate::screen) input: KnownInput,
    /// What is not safe on the disk yet, oldest first.
    pub(in crate::screen) entrusted: Vec<Entrusted>,
    /// How much was to be kept so far in this sitting.
    pub(in crate::screen) entrusted_so_far: u32,
    /// The jobs that were open or made in this sitting, the newest last.
    pub(in crate::screen) jobs: Vec<OpenJob>,
    /// Where something was saved in this sitting.
    pub(in crate::screen) saved_in: Vec<PathBuf>,
    /// Earlier jobs of this machine.
    pub(in crate::screen) earlier: EarlierJobs,
    pub(in crate::screen) zone: TimeZone,
    /// The tone while something is being kept.
    pub(in crate::screen) watch: KeepWatch,
    /// The simulated machine running up.
    pub(in crate::screen) run_up: RunUp,
}

impl ScreenState {
    /// The first screen.
    pub fn new(setup: Setup) -> Self {
        let job = setup.job.clone();
        let mut state = Self::without_job(setup);
        if let Some(job) = job {
            state.show_job(job);
        }
        state
    }

    fn without_job(setup: Setup) -> Self {
        Self {
            look: setup.look,
            kind: setup.kind,
            conditions: setup.conditions,
            tolerance: setup.tolerance,
            view: View::default(),
            runs: Runs::new(setup.runs),
            sweeps: Vec::new(),
            cleaned_since_sweep: false,
            contacts: Vec::new(),
            lead: Lead::default(),
            live: Arc::default(),
            needle_scale: ZoomingScale::new(NEEDLE_SCALES),
            flutter_scale: ZoomingScale::new(FLUTTER_SCALES),
            drift_scale: ZoomingScale::new(DRIFT_SCALES),
            overlay: None,
            routine: Routine::default(),
            size: (80, 24),
            kept: Vec::new(),
            left: Vec::new(),
            keeping: None,
            long_run: None,
            message: setup.message,
            machine: setup.machine,
            naming: 0,
            reference: setup.reference,
            tape: setup.tape,
            recorded_on: None,
            cards: setup.cards,
            wavering: Wavering::new(setup.parts.as_ref(), setup.parts_cards),
            parts: setup.parts,
            supply_volts: None,
            supply: SupplyRun::default(),
            bench: None,
            ticks: None,
            listening: None,
            before_answer: None,
            leaving: false,
            last_done: None,
            last_sweep: None,
            heard: Heard::default(),
            input: KnownInput::default(),
            entrusted: Vec::new(),
            entrusted_so_far: 0,
            jobs: Vec::new(),
            saved_in: Vec::new(),
            earlier: EarlierJobs::default(),
            zone: setup.zone,
            watch: KeepWatch::default(),
            run_up: RunUp::default(),
        }
    }

    /// Says something and does nothing else.
    pub(in crate::screen) fn say(&mut self, what: impl Into<String>) -> Vec<Effect> {
        self.message = Some(what.into());
        Vec::new()
    }

    /// The newest reading, live or not.
    pub fn reading(&self) -> Option<&Reading> {
        self.live.reading.as_deref()
    }

    /// Samples come in: what is shown is true now.
    pub fn is_live(&self) -> bool {
        matches!(self.live.source, SourceState::Running { .. })
    }

    /// What the tape that runs has said of itself.
    pub(in crate::screen) fn tape_ident(&self) -> Option<&TapeIdent> {
        self.reading()?.ident.as_ref()
    }

    /// Troubles that are not settled, the most important first.
    pub fn problems(&self) -> impl Iterator<Item = &Problem> {
        let problems = self.reading().map(|it| it.signal.problems.as_slice());
        let settled = |problem: &Problem| match problem {
            // Somebody has said it, or the tape itself does.
            Problem::Ambiguous { taken, .. } => {
                let said = self.tape_ident().map(|ident| ident.nominal);
                !self.conditions.nominal.is_open() || said == Some(*taken)
            }
            passing => self.is_passing(passing),
        };
        let all = problems.unwrap_or_default().iter();
        all.filter(move |problem| !settled(problem))
    }

    /// The tones between which the user may choose, in the order of their keys.
    pub(in crate::screen) fn tones_to_choose(&self) -> Vec<Hertz> {
        let choice = self.problems().find_map(|problem| match *problem {
            Problem::Ambiguous { taken, other } => Some(vec![taken, other]),
            Problem::WrongTone(wrong) => match (wrong.likely, self.nominal()) {
                (Likely::OtherTone(other), Some(nominal)) => Some(vec![nominal, other]),
                _ => None,
            },
            _ => None,
        });
        choice.unwrap_or_default()
    }

    /// The nominal tone in force, if one is.
    pub fn nominal(&self) -> Option<Hertz> {
        let found = || self.reading().and_then(|reading| reading.nominal);
        self.conditions.nominal.hz().or_else(found)
    }

    /// The newest snapshot of a slot of this machine at the speed and direction
    /// that are on.
    pub fn newest_kept(&self, slot: &Slot) -> Option<&Kept> {
        self.on_bench().newest(|it| it == slot)
    }

    /// What is kept of the machine on the bench at the speed and in the direction
    /// that are on.
    pub(in crate::screen) fn on_bench(&self) -> KeptOf<'_> {
        KeptOf {
            all: &self.kept,
            machine: self.machine_of_bench(),
            run: self.runs.on(),
        }
    }

    /// Its name, as it was typed or as the present job has it.
    pub(in crate::screen) fn machine_of_bench(&self) -> Option<&str> {
        let of_job = || self.present_job()?.job.machine();
        self.machine.as_deref().or_else(of_job)
    }

    /// Takes a newer state of the analysis.
    pub fn take(&mut self, live: Arc<LiveState>) -> Vec<Effect> {
        self.live = live;
        self.follow_input();
        if let Some(Contacting::Done(report)) = self.live.contact.clone() {
            self.take_contact(&report);
        }
        let Some(reading) = self.live.reading.clone() else {
            return Vec::new();
        };
        if self.is_live() {
            self.follow_scales(&reading);
        }
        let mut effects = match &reading.sweep {
            Some(Sweeping::Done(report)) => self.take_sweep(report),
            _ => Vec::new(),
        };
        if let Some(Keeping::Done(measurement)) = &reading.keeping {
            effects.extend(self.take_done(measurement));
        }
        self.follow_lines(&reading);
        effects.extend(self.follow_reading(&reading));
        self.follow_start(&reading);
        self.remember(&reading);
        effects
    }

    fn follow_scales(&mut self, reading: &Reading) {
        let now = reading.at;
        if let Some(speed) = &reading.speed {
            let furthest = speed.needle.0.abs().max(speed.deviation.0.abs());
            self.needle_scale.follow(furthest, now);
        }
        let flutter = &reading.flutter;
        let [wow, fast] = [flutter.wow_rms, flutter.flutter_rms];
        let figures = [wow, fast, flutter.weighted_two_sigma]
            .into_iter()
            .flatten();
        if let Some(largest) = figures.map(|it| it.0).reduce(f64::max) {
            self.flutter_scale.follow(largest, now);
        }
        if let Some(drift) = &reading.drift {
            self.drift_scale.follow(drift.percent_per_minute.abs(), now);
        }
    }

    /// A stretch is complete: it is kept here first, then saved.
    fn take_done(&mut self, measurement: &Arc<Measurement>) -> Vec<Effect> {
        let stale = self.last_done.as_ref();
        if stale.is_some_and(|last| Arc::ptr_eq(last, measurement)) {
            return Vec::new();
        }
        self.last_done = Some(Arc::clone(measurement));
        let Some(slot) = self.keeping.take() else {
            return Vec::new();
        };
        if self.long_run.is_some() {
            return self.next_of_long_run(measurement);
        }
        let save = self.keep_measured(slot, measurement);
        vec![Effect::Ask(Request::ForgetKept), save]
    }

    /// Keeps a stretch here; what comes back saves it.
    pub(in crate::screen) fn keep_measured(
        &mut self,
        slot: Slot,
        measurement: &Arc<Measurement>,
    ) -> Effect {
        let before_cleaning = self.earlier_sweep();
        let before_cleaning = before_cleaning.filter(|(_, between)| *between != Between::Nothing);
        let kept = Kept {
            measurement: self.with_parts(&slot, measurement),
            slot,
            tolerance: self.tolerance,
            machine: self.machine_of_bench().map(str::to_owned),
            supply_volts: self.supply_volts,
            tape: self.tape.clone(),
            recorded_on: self.recorded_on.clone(),
            is_new: true,
            run: self.runs.on(),
            wiper: self.sweeps.last().map(|swept| Arc::clone(&swept.report)),
            wiper_at_first: before_cleaning.map(|(report, _)| Arc::clone(report)),
            wiper_cleanings: self.known_cleanings(),
            source: self.source_name().to_owned(),
        };
        self.kept.push(kept.clone());
        self.follow_supply(&kept);
        self.follow_kept(&kept.slot);
        self.follow_run(&kept);
        self.entrust(Thing::Snapshot(Box::new(kept)))
    }

    /// What the source is called.
    pub fn source_name(&self) -> &str {
        match &self.live.source {
            SourceState::Running { name, .. }
            | SourceState::Late { name }
            | SourceState::Lost { name, .. }
            | SourceState::Ended { name } => name,
            SourceState::Opening | SourceState::Failed { .. } => "",
        }
    }
}

/// What is kept of one machine at one speed and in one direction.
#[derive(Clone, Copy)]
pub(in crate::screen) struct KeptOf<'a> {
    /// Of others too, oldest first.
    pub all: &'a [Kept],
    pub machine: Option<&'a str>,
    pub run: Option<Run>,
}

impl<'a> KeptOf<'a> {
    pub fn newest(self, is_it: impl Fn(&Slot) -> bool) -> Option<&'a Kept> {
        let is_its = |kept: &Kept| {
            kept.run == self.run && is_one_machine(kept.machine.as_deref(), self.machine)
        };
        let mut newest_first = self.all.iter().rev();
        newest_first.find(|kept| is_it(&kept.slot) && is_its(kept))
    }

    pub fn is_same(self, other: Self) -> bool {
        let is_one = self.machine == other.machine || same_machine(self.machine, other.machine);
        is_one && self.run == other.run && std::ptr::eq(self.all, other.all)
    }
}

/// No name may be that of either.
pub(in crate::screen) fn is_one_machine(one: Option<&str>, other: Option<&str>) -> bool {
    one.is_none() || other.is_none() || same_machine(one, other)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::screen::specimen;

    fn done(sequence: u64, measurement: &Arc<Measurement>) -> Arc<LiveState> {
        let mut reading = specimen::reading(-1.2);
        reading.keeping = Some(Keeping::Done(Arc::clone(measurement)));
        specimen::live(sequence, reading)
    }

    #[test]
    fn a_stretch_that_is_done_is_saved_once() {
        let mut state = specimen::state(SourceKind::Input);
        state.keeping = Some(Slot::Before);
        let measurement = Arc::new(specimen::measurement(-1.2));
        let effects = state.take(done(1, &measurement));
        assert!(matches!(
            &effects[..],
            [Effect::Ask(Request::ForgetKept), Effect::Save(Entrusted { thing: Thing::Snapshot(kept), .. })]
                if kept.slot == Slot::Before && kept.source == "Line In"
        ));
        // The same stretch is still in the newest state for a moment, even
        // when the next key has been pressed.
        state.keeping = Some(Slot::After);
        assert!(state.take(done(2, &measurement)).is_empty());
        let next = Arc::new(specimen::measurement(0.1));
        assert_eq!(state.take(done(3, &next)).len(), 2);
        assert_eq!(state.kept.len(), 2);
    }

    #[test]
    fn the_needle_scale_follows_only_what_is_live() {
        let mut state = specimen::state(SourceKind::Input);
        let mut lost = LiveState::clone(&specimen::live(1, specimen::reading(0.01)));
        lost.source = SourceState::Lost {
            name: "Line In".to_owned(),
            reason: "unplugged".to_owned(),
        };
        let lost = Arc::new(lost);
        for _ in 0..100 {
            let _ = state.take(Arc::clone(&lost));
        }
        assert!((state.needle_scale.full() - 10.0).abs() < 1e-12);
    }
}
