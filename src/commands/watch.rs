//! `tapewright watch`: chooses the source, starts the analysis on it, and
//! hands both to the screen.
//!
//! A source is opened before the terminal is taken, so that an input that
//! cannot be had is a sentence on the shell.

use std::panic::{self, AssertUnwindSafe};
use std::sync::mpsc::{self, Sender};

use jiff::Timestamp;
use jiff::tz::TimeZone;

use super::chooser::Chooser;
use super::cli::{PractiseOptions, SittingOptions, WatchOptions};
use super::earlier::Earlier;
use super::keeper::{Keeper, Saving};
use super::logging::Logging;
use super::sitting_job::{self, kind_of};
use super::ticking::{self, ByEar};
use super::{Exit, Failure, Outcome, copy, habits, write_out};
use crate::audio::analysis::{Analysis, ClockAtRate};
use crate::audio::input::{self, LiveInput};
use crate::audio::recording::{self, Pace};
use crate::audio::rehearsal_source::{self, Bench};
use crate::audio::source::SourceEvent;
use crate::audio::{LogFeed, SoundError};
use crate::readings::SampleClock;
use crate::records::places::Places;
use crate::records::{ClockFigure, Clocks, LinesWarning, cards};
use crate::references::parts::PartsCard;
use crate::references::{OwnSpeed, Reference, TapeCard};
use crate::rehearsal::PracticeMachine;
use crate::report::LogHead;
use crate::screen::{
    self, Effect, Ending, Event, Look, Outside, PlannedRun, ScreenState, Setup, SourceKind,
    Terminal, TerminalError, Thing, terminal,
};

/// Said on screen where there is nothing to listen to.
const NO_INPUT: &str = "this computer has no sound input, so this is a rehearsal on a simulated \
    machine; connect an input and start again to measure a real one";

/// Said once of the tape that is used.
fn tape_news(card: &TapeCard) -> String {
    let OwnSpeed {
        error_percent,
        uncertainty_percent,
        ..
    } = card.speed;
    format!(
        "tape \"{}\": own error {error_percent:+} % ±{uncertainty_percent} % taken out",
        card.name
    )
}

/// The simulated machine plays tones alone.
fn no_rehearsal(reference: &Reference) -> Failure {
    Failure::new(
        Exit::Usage,
        format!(
            "the simulated machine plays a tone; measure by {reference} with tapewright watch, or give a tone or a note as --reference"
        ),
    )
}

/// A source that runs, with what must be held for as long as it does.
struct Source {
    kind: SourceKind,
    /// Dropping it ends the input.
    input: Option<LiveInput>,
    bench: Option<Bench>,
    message: Option<String>,
    machine: Option<String>,
    /// Which part of a simulated machine was at fault; for the end.
    truth: Option<String>,
    /// Card of the simulated machine's parts.
    parts: Option<PartsCard>,
    /// A simulated machine in place of an input, since there is none.
    stands_in: bool,
}

/// What to sit down to.
#[derive(Clone, Copy)]
pub(super) enum Wanted<'a> {
    /// An input or a recording.
    Watch(&'a WatchOptions),
    /// A simulated machine.
    Practise(&'a PractiseOptions),
}

pub(super) fn run(options: &SittingOptions, wanted: Wanted) -> Outcome {
    let reference = options.reference.reference();
    if matches!(wanted, Wanted::Practise(_)) && !reference.kind().has_frequency() {
        return Err(no_rehearsal(&reference));
    }
    let wish = ticking::wish(options, matches!(wanted, Wanted::Watch(it) if it.fast))?;
    let target = copy::target(&reference)?;
    Terminal::check().map_err(|error| no_terminal(&error))?;
    // A thread that dies before the screen is up ends the sitting too.
    terminal::watch_for_panics();
    let (events, received) = mpsc::channel();
    let mut runs = options
        .runs
        .planned(&options.reference)
        .map_err(|error| Failure::new(Exit::Usage, error))?;
    let mut source = open_source(options, wanted, &runs, events)?;
    let machine = machine_on_bench(options, &source)?;
    // That of a real machine says nothing of the simulated one.
    let is_its = !source.stands_in || options.parts.named.is_some();
    let of_machine = options.parts.card.as_ref().filter(|_| is_its);
    let parts = of_machine.cloned().or(source.parts.take());
    let mut conditions = options.reference.conditions(machine.as_deref());
    if source.kind == SourceKind::Rehearsal {
        // The simulated tape has a label.
        conditions.nominal = conditions.nominal.known();
        for run in &mut runs {
            run.nominal = run.nominal.known();
        }
    }
    if let Some(first) = runs.first() {
        conditions.nominal = first.nominal;
    }
    let card = options.reference.card.as_ref();
    let places = options.reference.data.places();
    let (clock_at, clock_news) = kept_clocks(options, source.input.as_ref())?;
    if let (Some(clock_at), Some(input)) = (&clock_at, &source.input) {
        conditions.clock = clock_at(input.format().rate_hz);
    }
    let by_ear = ticking::start(wish, &target)?;
    let mut keeper = Keeper::check(&places, source.kind, &options.job, machine.as_deref())?;
    // Last of what may be refused: a log that was begun is not begun again.
    let (logging, log) = begin_log(options, wanted, &source, machine.as_deref())?.unzip();
    let analysis = Analysis::start(
        received,
        conditions,
        options.reference.choice(),
        options.tolerance.half_width,
        target,
        clock_at,
        log,
    )
    .map_err(|error| cannot_start(&error))?;
    // Only a sitting that takes place says anything in a job.
    let (job, news) = keeper.begin()?.unzip();
    let earlier = Earlier::new(places.clone(), kind_of(source.kind));
    earlier.look(machine.clone());
    let mut odd_card = None;
    let mut state = ScreenState::new(Setup {
        look: Look::new(options.ascii, habits::colours(), |name| {
            std::env::var(name).ok()
        }),
        kind: source.kind,
        conditions,
        tolerance: options.tolerance,
        machine,
        reference: options.reference.reference(),
        tape: card.cloned(),
        cards: usable(&places, &mut odd_card),
        parts,
        parts_cards: usable(&places, &mut odd_card),
        runs,
        job,
        zone: TimeZone::system(),
        message: joined([
            by_ear.as_ref().map(ByEar::caution),
            source.message,
            news,
            clock_news,
            odd_card,
            card.map(tape_news),
        ]),
    });
    if let Some(by_ear) = &by_ear {
        by_ear.announce(&mut state);
    }
    let saving = Saving::start(keeper).map_err(|error| cannot_start(&error))?;
    let bench = source.bench.as_ref();
    let chooser = Chooser::new(options.reference.clone());
    let mut around = Around {
        analysis: &analysis,
        bench,
        by_ear: by_ear.as_ref(),
        saving: &saving,
        chooser: &chooser,
        earlier: &earlier,
        logging: logging.as_ref(),
    };
    let ending = sit(&mut state, &mut around);
    for done in saving.finish() {
        // Nobody asks for anything any more.
        let _ = state.update(done);
    }
    state.saving_has_ended();
    // With it goes whoever feeds the log.
    drop(analysis);
    let (logged, log_exit) = logging.map_or_else(|| (Vec::new(), Exit::Done), Logging::finish);
    let told = source.truth.into_iter().chain(logged);
    Ok(leave(&state, ending?, told)?.max(log_exit))
}

/// What stays on the shell, and how it ends.
fn leave(state: &ScreenState, ending: Ending, told: impl Iterator<Item = String>) -> Outcome {
    report_unsaved(state);
    // As the last key was pressed perhaps, or while all ended.
    let ending = if terminal::has_panicked() {
        Ending::Panicked
    } else {
        ending
    };
    if ending == Ending::Quit {
        for line in state.closing_words().into_iter().chain(told) {
            write_out(&format!("{line}\n"))?;
        }
    }
    let exit = finish(ending)?;
    Ok(match state.unsaved().next() {
        Some(_) => exit.max(Exit::File),
        None => exit,
    })
}

/// The log that was asked for, with what feeds it.
fn begin_log(
    options: &SittingOptions,
    wanted: Wanted,
    source: &Source,
    machine: Option<&str>,
) -> Result<Option<(Logging, LogFeed)>, Failure> {
    let Some(path) = &options.log else {
        return Ok(None);
    };
    let file = match wanted {
        Wanted::Watch(watched) => watched.file.as_ref(),
        Wanted::Practise(_) => None,
    };
    let input = source
        .input
        .as_ref()
        .map(|input| input.known().name.clone());
    let name = file.map(|path| path.display().to_string()).or(input);
    let mut head = LogHead::of(name.unwrap_or_else(|| "simulated machine".to_owned()));
    let now = Timestamp::now().round(jiff::Unit::Second);
    head.started = now.map_or_else(|_| String::new(), |now| now.to_string());
    head.machine = machine.map(str::to_owned);
    head.reference = options.reference.reference().to_string();
    head.tolerance_percent = options.tolerance.half_width.0;
    head.simulated = source.kind == SourceKind::Rehearsal;
    Logging::begin(path, &head).map(Some)
}

/// The cards of one kind that can be used; why the first that cannot goes to `odd`.
fn usable<C: cards::Card>(places: &Places, odd: &mut Option<String>) -> Vec<C> {
    let all = cards::list::<C>(places).into_iter();
    let usable = all.filter_map(|(_, card)| {
        let why = card.as_ref().err().map(ToString::to_string);
        *odd = odd.take().or(why);
        card.ok()
    });
    usable.collect()
}

/// What a sitting works with.
struct Around<'a> {
    analysis: &'a Analysis,
    bench: Option<&'a Bench>,
    by_ear: Option<&'a ByEar>,
    saving: &'a Saving,
    chooser: &'a Chooser,
    earlier: &'a Earlier,
    logging: Option<&'a Logging>,
}

impl Outside for Around<'_> {
    fn news(&mut self) -> Vec<Event> {
        let mut news = vec![Event::Bench(self.bench.map(Bench::status))];
        news.extend(std::iter::from_fn(|| self.saving.next_done()));
        news.push(Event::Live(self.analysis.newest()));
        let log_ended = self.logging.and_then(Logging::has_ended);
        news.extend(log_ended.map(Event::Said));
        let found = self.earlier.next_found();
        news.extend(found.map(|found| Event::Earlier(Box::new(found))));
        let ready = self.chooser.next_ready();
        news.extend(ready.map(|ready| Event::Reference(Box::new(ready))));
        news
    }

    fn by_ear(&mut self, state: &mut ScreenState) -> bool {
        self.by_ear.is_some_and(|by_ear| by_ear.follow(state))
    }

    fn carry_out(&mut self, effect: Effect) -> Option<Event> {
        match effect {
            Effect::Ask(request) => self.analysis.ask(request),
            Effect::Bench(command) => {
                if let Some(bench) = self.bench {
                    bench.send(command);
                }
            }
            Effect::Save(entrusted) => return self.saving.save(entrusted),
            Effect::Learn(lesson) => return self.saving.learn(*lesson),
            Effect::LookBack(machine) => self.earlier.look(machine),
            Effect::OpenJob(path, machine) => return self.saving.open(path, machine),
            Effect::Choose(choice, machine) => self.chooser.prepare(choice, machine),
            // The screen carries these out by itself.
            Effect::Quit | Effect::Interrupt | Effect::Suspend | Effect::Repaint => {}
        }
        None
    }
}

/// The sitting at the screen; the terminal is given back afterwards. Where the
/// screen itself panics, what was entrusted to be saved is saved all the same.
fn sit(state: &mut ScreenState, around: &mut Around) -> Result<Ending, Failure> {
    if terminal::has_panicked() {
        return Ok(Ending::Panicked);
    }
    let mut terminal = Terminal::enter().map_err(|error| no_terminal(&error))?;
    let run = AssertUnwindSafe(|| screen::run(&mut terminal, state, around));
    let ending = panic::catch_unwind(run).unwrap_or(Ok(Ending::Panicked));
    terminal.leave();
    ending.map_err(|error| no_terminal(&TerminalError::Refused(error)))
}

fn finish(ending: Ending) -> Outcome {
    match ending {
        Ending::Quit => Ok(Exit::Done),
        Ending::Signal(signal) => {
            terminal::end_by(signal);
            Ok(Exit::Done)
        }
        Ending::SourceFailed(reason) => Err(Failure::new(Exit::Sound, reason)),
        Ending::Panicked => {
            terminal::await_report();
            panic::resume_unwind(Box::new("a thread has panicked"));
        }
    }
}

/// Nothing that was measured is lost without a word.
fn report_unsaved(state: &ScreenState) {
    let unsaved = state.unsaved().map(|entrusted| {
        let what = match &entrusted.thing {
            Thing::Snapshot(kept) => {
                let speed = kept.measurement.speed;
                let figure = speed.map_or("no speed".to_owned(), |speed| {
                    format!("{:+.3} %", speed.deviation.0)
                });
                format!("snapshot {} ({figure})", kept.slot.name())
            }
            Thing::Wiper(_) => "wiper check".to_owned(),
            Thing::Note(text) => format!("note \"{text}\""),
        };
        format!("the {what} could not be saved")
    });
    super::say::complain_at_once(&unsaved.collect::<Vec<_>>());
}

fn no_terminal(error: &TerminalError) -> Failure {
    Failure::new(Exit::Terminal, error.to_string())
}

fn cannot_start(error: &std::io::Error) -> Failure {
    Failure::new(
        Exit::Sound,
        format!("no thread could be started ({error}); close other programs and try again"),
    )
}

fn open_source(
    sitting: &SittingOptions,
    wanted: Wanted,
    runs: &[PlannedRun],
    events: Sender<SourceEvent>,
) -> Result<Source, Failure> {
    let options = match wanted {
        Wanted::Watch(options) => options,
        Wanted::Practise(options) => return rehearse(practised(options), runs, events, None),
    };
    let pick = sitting.reference.channel.pick();
    if let Some(path) = &options.file {
        let pace = if options.fast { Pace::Fast } else { Pace::Real };
        recording::start_taking(path, pick, pace, events)
            .map_err(|error| Failure::new(Exit::File, error.to_string()))?;
        return Ok(Source::without_bench(SourceKind::Recording, None));
    }
    let bare = options.input.is_none();
    match input::start_taking(options.input.as_deref(), pick, events.clone()) {
        Ok(live) => Ok(Source::without_bench(SourceKind::Input, Some(live))),
        // Nothing to listen to at all: the only case that becomes a rehearsal.
        Err(SoundError::NoInput) if bare => rehearse(
            (1, PracticeMachine::of_seed(1)),
            runs,
            events,
            Some(NO_INPUT.to_owned()),
        ),
        Err(error) => Err(Failure::new(Exit::Sound, error.to_string())),
    }
}

/// The machine to practise on, with its number.
fn practised(options: &PractiseOptions) -> (u64, PracticeMachine) {
    let seed = options.number;
    let practice = PracticeMachine::of_seed(seed).with_trimmer(options.fault.into());
    let practice = match options.part {
        Some(part) => practice.with_part(part.fault(seed), seed),
        None => practice,
    };
    (seed, practice)
}

fn rehearse(
    (seed, mut practice): (u64, PracticeMachine),
    runs: &[PlannedRun],
    events: Sender<SourceEvent>,
    no_input: Option<String>,
) -> Result<Source, Failure> {
    let name = practice.name.clone();
    let card = practice.parts.as_ref().map(|parts| parts.card_text(&name));
    // A test of the simulated machines reads them all.
    let card = card.and_then(|text| PartsCard::from_toml(&text).ok());
    let tones = runs.iter().map(|planned| {
        planned
            .nominal
            .hz()
            .map_or(practice.config.tone_hz, |hz| hz.0)
    });
    let tones: Vec<f64> = tones.collect();
    let others = practice.other_runs(tones.get(1..).unwrap_or_default(), seed);
    if let Some(first) = tones.first() {
        practice.config.tone_hz = *first;
    }
    let bench = rehearsal_source::start(practice.name, practice.config, &others, seed, events)
        .map_err(|error| cannot_start(&error))?;
    let complaint = format!("{name}: its owner says it {}", practice.complaint);
    Ok(Source {
        kind: SourceKind::Rehearsal,
        input: None,
        bench: Some(bench),
        stands_in: no_input.is_some(),
        message: no_input.or(Some(complaint)),
        machine: Some(name),
        parts: card,
        truth: practice.parts.map(|parts| {
            format!(
                "what was wrong (simulated {}): {}",
                parts.transport, parts.truth
            )
        }),
    })
}

impl Source {
    fn without_bench(kind: SourceKind, input: Option<LiveInput>) -> Self {
        Self {
            kind,
            input,
            bench: None,
            message: None,
            machine: None,
            truth: None,
            parts: None,
            stands_in: false,
        }
    }
}

/// As somebody said, or as the job says that was named: one of what this source
/// gives, since the name of a real machine is not that of a simulated one.
fn machine_on_bench(options: &SittingOptions, source: &Source) -> Result<Option<String>, Failure> {
    if options.machine.is_some() {
        return Ok(options.machine.clone());
    }
    let places = options.reference.data.places();
    let of_job = sitting_job::machine_of(&places, kind_of(source.kind), &options.job)?;
    Ok(of_job.or_else(|| source.machine.clone()))
}

/// What is kept of the sample clock of this input, and what to say about it at
/// the rate that it has now. The command line wins over it.
fn kept_clocks(
    options: &SittingOptions,
    input: Option<&LiveInput>,
) -> Result<(Option<ClockAtRate>, Option<String>), Failure> {
    let Some(input) = input.filter(|_| options.reference.clock.is_none()) else {
        return Ok((None, None));
    };
    let places = options.reference.data.places();
    let Some(path) = places.clocks() else {
        return Ok((None, None));
    };
    match Clocks::open(path) {
        Ok((clocks, warnings)) => {
            let figure = clocks.of(&input.known().id, input.format().rate_hz);
            let said = figure.map(|figure| {
                format!(
                    "sample clock as measured on {}: {:+.1} ppm",
                    figure
                        .taken_at
                        .to_zoned_datetime(TimeZone::system())
                        .strftime("%Y-%m-%d"),
                    figure.error.0
                )
            });
            let odd = warnings.first().map(LinesWarning::to_string);
            let clock_at = clock_at_rate(clocks, input.known().id.clone());
            Ok((Some(clock_at), joined([odd, said])))
        }
        // A folder that was named must do; without the usual one there is still
        // a reading, with the usual ±.
        Err(error) if places.are_named() => Err(Failure::new(Exit::File, error.to_string())),
        Err(error) => Ok((None, Some(error.to_string()))),
    }
}

/// Figures of another rate say nothing: what was not measured counts as usual.
fn clock_at_rate(clocks: Clocks, input: String) -> ClockAtRate {
    Box::new(move |rate_hz| {
        let figure = clocks.of(&input, rate_hz);
        figure.map_or_else(SampleClock::default, ClockFigure::sample_clock)
    })
}

fn joined<const N: usize>(said: [Option<String>; N]) -> Option<String> {
    let said: Vec<String> = said.into_iter().flatten().collect();
    (!said.is_empty()).then(|| said.join("; "))
}

#[cfg(test)]
mod tests {
    use clap::Parser;

    use super::*;
    use crate::commands::cli::{Cli, Command};
    use crate::records::{About, Against, Entry, JobFile};
    use crate::units::{Ppm, Seconds};

    #[test]
    fn a_simulated_machine_never_has_the_name_of_a_real_one() {
        let folder = tempfile::tempdir().unwrap();
        let jobs = folder.path().join("jobs");
        let (mut file, _) = JobFile::open(jobs.join("repair-117.jsonl")).unwrap();
        let (name, simulated) = ("repair 117".to_owned(), false);
        file.add(Entry::Opened { name, simulated }).unwrap();
        file.say(About::Machine, "deck 4").unwrap();
        let data = folder.path().to_str().unwrap();
        let typed = ["tapewright", "watch", "--data", data, "--job", "repair 117"];
        let Some(Command::Watch(options)) = Cli::try_parse_from(typed).unwrap().command else {
            panic!("not understood")
        };
        let mut source = Source::without_bench(SourceKind::Input, None);
        let on_bench = |source: &Source| machine_on_bench(&options.sitting, source).ok().flatten();
        assert_eq!(on_bench(&source).as_deref(), Some("deck 4"));
        source.kind = SourceKind::Rehearsal;
        source.machine = Some("practice machine 1".to_owned());
        assert_eq!(on_bench(&source).as_deref(), Some("practice machine 1"));
    }

    #[test]
    fn a_card_that_cannot_be_used_is_told_and_one_that_is_switched_off_is_not() {
        let folder = tempfile::tempdir().unwrap();
        let places = Places::in_folder(folder.path().to_owned());
        let parts = folder.path().join("parts");
        std::fs::create_dir(&parts).unwrap();
        std::fs::write(parts.join("a.toml"), "parts_card = 1\nname = \"a\"\n").unwrap();
        #[cfg(unix)]
        std::os::unix::fs::symlink("/dev/null", parts.join("off.toml")).unwrap();
        let mut odd = None;
        let cards: Vec<PartsCard> = usable(&places, &mut odd);
        assert_eq!((cards, &odd), (vec![PartsCard::new("a")], &None));
        std::fs::write(parts.join("b.toml"), "parts_card = 1\n").unwrap();
        assert_eq!(usable::<PartsCard>(&places, &mut odd).len(), 1);
        assert!(odd.is_some_and(|why| why.contains("b.toml") && why.contains("mend")));
    }

    #[test]
    fn a_kept_figure_counts_at_its_own_rate_alone() {
        let folder = tempfile::tempdir().unwrap();
        let (mut clocks, _) = Clocks::open(folder.path().join("clocks.jsonl")).unwrap();
        for (rate_hz, error) in [(48_000, 40.0), (44_100, -7.0)] {
            let figure = ClockFigure {
                input: "alsa:a".to_owned(),
                name: "Line".to_owned(),
                rate_hz,
                error: Ppm(error),
                uncertainty: Ppm(12.0),
                taken_at: "2026-11-20T12:00:00Z".parse().unwrap(),
                against: Against::SystemClock {
                    uncertainty: Ppm(5.0),
                    disciplined: true,
                },
                over: Seconds(300.0),
            };
            clocks.keep(figure).unwrap();
        }
        let clock_at = clock_at_rate(clocks, "alsa:a".to_owned());
        assert_eq!(clock_at(48_000).error, Ppm(40.0));
        assert_eq!(clock_at(44_100).error, Ppm(-7.0));
        assert_eq!(clock_at(96_000), SampleClock::default());
    }
}
