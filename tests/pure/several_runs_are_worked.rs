//! A machine with several speeds or directions: each has its own strip, target
//! and snapshots, and what was set is measured again once another was trimmed,
//! until none has moved by more than its ±.

use crate::support::bench::Bench;
use tapewright::readings::Nominal;
use tapewright::records::{Direction, Run};
use tapewright::screen::{Action, PlannedRun, RunMark, Slot, Step};
use tapewright::units::Hertz;

fn planned() -> [PlannedRun; 2] {
    [Direction::Forward, Direction::Reverse].map(|direction| PlannedRun {
        run: Run {
            speed_cm_s: Some(4.76),
            direction: Some(direction),
        },
        nominal: Nominal::Fixed(Hertz(3150.0)),
    })
}

/// Forward 1 % slow, reverse 3 % slow; each trimmer moves the other speed by a
/// fifth of what it moves its own.
fn two_ways() -> Bench {
    Bench::with_runs(&planned(), &[0.2])
}

fn marks(bench: &Bench) -> Vec<RunMark> {
    bench.state.runs.marks().map(|(_, mark)| mark).collect()
}

#[track_caller]
fn assert_said(bench: &Bench, words: &str) {
    let said = bench.state.message.as_deref().unwrap_or_default();
    assert!(said.contains(words), "{said}");
}

/// Keeps a snapshot and waits for it.
fn keep(bench: &mut Bench, slot: &Slot) {
    let before = bench.state.kept.len();
    bench.act(Action::Keep(slot.clone()));
    bench.play_until("kept", |state| state.kept.len() > before);
}

/// Turns the trimmer in use until the true speed is right.
fn trim(bench: &mut Bench) {
    let machine = &mut bench.deck.machine;
    // From -5 to 5 %.
    let off = machine.aimed_deviation().0;
    machine.turn_trimmer(-off / 10.0);
    bench.play(8.0);
}

fn work_both(bench: &mut Bench) {
    work_one(bench);
    bench.act(Action::NextRun);
    work_one(bench);
}

fn work_one(bench: &mut Bench) {
    bench.play(8.0);
    keep(bench, &Slot::Before);
    trim(bench);
    keep(bench, &Slot::After);
}

#[test]
fn each_run_has_its_own_strip_and_snapshots() {
    let mut bench = two_ways();
    bench.play(8.0);
    keep(&mut bench, &Slot::Before);
    assert!(bench.state.routine.is_done(Step::Before));
    bench.act(Action::NextRun);
    assert_said(&bench, "4.76 cm/s reverse");
    assert_eq!(bench.at(), Step::Before);
    assert!(bench.state.routine.is_done(Step::Signal), "still connected");
    assert!(!bench.state.routine.is_done(Step::Before));
    assert!(bench.state.newest_kept(&Slot::Before).is_none());
    bench.play(8.0);
    keep(&mut bench, &Slot::Before);
    let runs: Vec<_> = bench.state.kept.iter().map(|kept| kept.run).collect();
    assert_eq!(runs, planned().map(|planned| Some(planned.run)));
    let speeds = bench.state.kept.iter().map(|kept| {
        let speed = kept.measurement.speed.expect("a speed");
        speed.deviation.0
    });
    for (speed, truth) in speeds.zip([-1.0, -3.0]) {
        assert!((speed - truth).abs() < 0.1, "{speed} instead of {truth}");
    }
    // Back again: its strip stands as it was left.
    bench.act(Action::NextRun);
    assert!(bench.state.routine.is_done(Step::Before));
    assert!(bench.state.newest_kept(&Slot::Before).is_some());
}

#[test]
fn trimming_one_sends_back_to_the_other_until_none_moves() {
    let mut bench = two_ways();
    work_both(&mut bench);
    // 3 % at the second trimmer have moved the first speed by 0.6 %.
    assert_eq!(marks(&bench), [RunMark::Doubtful, RunMark::Set]);
    bench.act(Action::NextRun);
    assert_said(&bench, "go round again");
    assert_eq!((bench.state.runs.round(), bench.at()), (2, Step::After));
    bench.play(8.0);
    keep(&mut bench, &Slot::After);
    assert_said(&bench, "influence each other");
    assert_said(&bench, "trim it again");
    assert_eq!(bench.at(), Step::Trim);
    assert_eq!(marks(&bench), [RunMark::Open, RunMark::Set]);
    trim(&mut bench);
    keep(&mut bench, &Slot::After);
    // Trimmed by 0.6 %: the second may have moved, by 0.12 %.
    assert_eq!(marks(&bench), [RunMark::Set, RunMark::Doubtful]);
    bench.act(Action::NextRun);
    bench.play(8.0);
    keep(&mut bench, &Slot::After);
    assert_said(&bench, "still within the band");
    assert_eq!(marks(&bench), [RunMark::Set, RunMark::Set]);
    bench.act(Action::Pass);
    assert_said(&bench, "all runs are set");
}

#[test]
fn where_nothing_was_trimmed_nothing_is_doubted() {
    let mut bench = two_ways();
    work_one(&mut bench);
    bench.act(Action::NextRun);
    bench.play(8.0);
    keep(&mut bench, &Slot::Before);
    keep(&mut bench, &Slot::After);
    assert_eq!(marks(&bench), [RunMark::Set, RunMark::Set]);
}

#[test]
fn one_key_leads_from_run_to_run() {
    let mut bench = two_ways();
    bench.play(8.0);
    keep(&mut bench, &Slot::Before);
    keep(&mut bench, &Slot::After);
    assert_eq!(bench.at(), Step::After);
    bench.act(Action::GoOn);
    assert_eq!(bench.state.runs.number(), (2, 2));
    assert_eq!(bench.at(), Step::Before);
}

#[test]
fn what_was_being_kept_is_not_kept_of_another_speed() {
    let mut bench = two_ways();
    bench.play(8.0);
    bench.act(Action::Keep(Slot::Before));
    bench.play(3.0);
    bench.act(Action::NextRun);
    assert_said(&bench, "before was not kept");
    bench.play(40.0);
    assert!(bench.state.kept.is_empty());
}

#[test]
fn with_one_run_the_key_says_how_to_have_more() {
    let mut bench = Bench::new();
    bench.play(1.0);
    bench.act(Action::NextRun);
    assert_said(&bench, "--speeds");
    assert_eq!(bench.at(), Step::Connect);
}
