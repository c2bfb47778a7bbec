//! The strip of steps leads through a whole job by one key, follows what is
//! done by other keys, and holds nobody up. The simulated machine plays into
//! the engine, and what it reads is handed to the screen, without a clock.

use crate::support::bench::Bench;
use tapewright::readings::Position;
use tapewright::screen::{Action, Mark, Slot, Step};
use tapewright::units::Percent;

#[test]
fn one_key_and_the_trimmer_lead_through_the_whole_job() {
    let mut bench = Bench::new();
    assert_eq!(bench.at(), Step::Connect);
    bench.play(8.0);
    assert!(bench.state.routine.is_done(Step::Signal));
    bench.go_on_to(Step::Before);
    bench.keeps(&Slot::Before);
    assert!(bench.state.routine.is_done(Step::Before));
    bench.go_on_to(Step::Clean);
    // Power off, the wiper, power on, by the same key.
    bench.go_on_to(Step::Wiper);
    assert!(bench.deck.strokes() >= 3 && bench.deck.machine.is_powered());
    bench.act(Action::Pass);
    assert_eq!(bench.at(), Step::Trim);
    bench.play(3.0);
    bench.deck.machine.set_trimmer(0.5);
    bench.play_until("trimmed", |state| state.routine.is_done(Step::Trim));
    bench.go_on_to(Step::HandsOff);
    bench.play_until("it holds", |state| state.routine.is_done(Step::HandsOff));
    bench.go_on_to(Step::Along);
    for position in Position::ALL {
        bench.keeps(&Slot::Along(position));
    }
    assert!(bench.state.routine.is_done(Step::Along));
    bench.go_on_to(Step::After);
    bench.keeps(&Slot::After);
    let speed = |slot| {
        let kept = bench.state.newest_kept(slot).expect("kept");
        kept.measurement.speed.expect("a speed").deviation.0
    };
    // Where the trimmer stood, and where it stands; the pack drifts by 0.01 %
    // a minute.
    assert!((speed(&Slot::Before) + 1.0).abs() < 0.1);
    assert!(speed(&Slot::After).abs() < 0.1);
}

#[test]
fn a_speed_that_moves_when_the_hand_goes_leads_back_to_trimming() {
    let mut bench = Bench::new();
    bench.deck.machine.set_trimmer(0.5);
    bench.play(12.0);
    while bench.at() != Step::Trim {
        bench.act(Action::Pass);
    }
    bench.play(1.0);
    bench.act(Action::GoOn);
    assert_eq!(bench.at(), Step::HandsOff);
    // The tool had held it 0.3 % too fast.
    bench.deck.machine.step_speed(Percent(-0.3));
    bench.play_until("back at the trimmer", |state| {
        state.routine.at() == Step::Trim
    });
    let said = bench.state.message.clone().unwrap_or_default();
    assert!(said.contains("-0.3") || said.contains("-0.2"), "{said}");
}

#[test]
fn a_before_never_shows_a_machine_that_was_switched_off_meanwhile() {
    let mut bench = Bench::new();
    bench.play(8.0);
    bench.act(Action::Keep(Slot::Before));
    assert_eq!(bench.at(), Step::Before);
    bench.play(2.0);
    bench.act(Action::Power);
    bench.play(0.5);
    let said = bench.state.message.clone().unwrap_or_default();
    assert!(said.contains("before was not kept"), "{said}");
    assert_eq!(bench.state.keeping, None);
    bench.act(Action::Power);
    bench.play(40.0);
    assert!(bench.state.kept.is_empty());
    assert!(!bench.state.routine.is_done(Step::Before));
}

#[test]
fn without_a_trimmer_its_steps_are_left_out() {
    let mut bench = Bench::new();
    bench.play(8.0);
    bench.act(Action::NoTrimmer);
    for step in [Step::Wiper, Step::Trim, Step::HandsOff] {
        assert_eq!(bench.state.routine.mark(step), Mark::LeftOut);
    }
    // What comes before the trimmer is to be done all the same.
    assert!(bench.at() < Step::Clean);
    while bench.at() != Step::Clean {
        bench.act(Action::Pass);
    }
    bench.act(Action::Pass);
    assert_eq!(bench.at(), Step::Along);
    bench.act(Action::GoBack);
    assert_eq!(bench.at(), Step::Clean);
}

#[test]
fn the_strip_holds_nobody_up() {
    let mut bench = Bench::new();
    // Nothing is done, no sample has come: the key still gets to the end.
    for step in &Step::ALL[1..] {
        bench.act(Action::Pass);
        assert_eq!(bench.at(), *step);
    }
    for step in Step::ALL[..9].iter().rev() {
        bench.act(Action::GoBack);
        assert_eq!(bench.at(), *step);
    }
    bench.act(Action::Keep(Slot::After));
    assert!(bench.state.message.is_some(), "nothing to keep is said");
}

#[test]
fn a_long_run_keeps_start_middle_and_end_by_itself() {
    let mut bench = Bench::new();
    bench.play(8.0);
    bench.act(Action::LongRun);
    assert_eq!(bench.at(), Step::Along);
    bench.play(60.0);
    assert!(bench.state.kept.is_empty(), "kept once it is known where");
    // Faster towards the end.
    bench.deck.machine.step_speed(Percent(0.4));
    bench.play(60.0);
    bench.act(Action::LongRun);
    let slots: Vec<Slot> = bench.state.kept.iter().map(|it| it.slot.clone()).collect();
    assert_eq!(slots, Position::ALL.map(Slot::Along));
    assert!(bench.state.routine.is_done(Step::Along));
    let speed = |position| {
        let kept = bench.state.newest_kept(&Slot::Along(position));
        let speed = kept.expect("kept").measurement.speed;
        speed.expect("a speed").deviation.0
    };
    let change = speed(Position::End) - speed(Position::Start);
    assert!((change - 0.4).abs() < 0.1, "{change}");
}

#[test]
fn a_long_run_that_was_too_short_keeps_nothing_and_ends_with_the_tone() {
    let mut bench = Bench::new();
    bench.play(8.0);
    bench.act(Action::LongRun);
    bench.play(5.0);
    bench.act(Action::Power);
    bench.play(0.5);
    assert!(bench.state.long_run.is_none() && bench.state.kept.is_empty());
    let said = bench.state.message.clone().unwrap_or_default();
    assert!(said.contains("too short"), "{said}");
}
