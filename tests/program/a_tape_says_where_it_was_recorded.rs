//! A tape made with `tapewright tone --programme` says which machine it was
//! recorded on: measured on that machine, nothing it reads is called a speed
//! error. Tapes are played slow by giving their files another sample rate.

use crate::support::program::{Folder, caution, deviation, number};

/// A programme recorded on deck 2, in `tape.wav`.
struct Tape {
    folder: Folder,
    rate_hz: u32,
    /// Frames, ±1.
    frames: Vec<[f32; 2]>,
    /// What was said of it.
    list: String,
}

impl Tape {
    fn of(more: &str) -> Self {
        let folder = Folder::new();
        let tone = "tone --programme --machine 'Deck 2' --seconds 12 -o tape.wav";
        let made = folder.run(&format!("{tone} {more}"));
        made.ends(0);
        let mut tape = hound::WavReader::open(folder.path("tape.wav")).unwrap();
        let samples = tape.samples::<i16>();
        let samples: Vec<f32> = samples
            .map(|it| f32::from(it.unwrap()) / 32_768.0)
            .collect();
        Self {
            rate_hz: tape.spec().sample_rate,
            frames: samples.chunks(2).map(|it| [it[0], it[1]]).collect(),
            folder,
            list: made.text,
        }
    }

    /// Played by a machine whose speed is this ratio, in `played.wav`; `mix`
    /// makes the channels that are heard of those on the tape.
    fn play(&self, speed: f64, mix: fn([f32; 2]) -> [f32; 2]) {
        let rate_hz = (f64::from(self.rate_hz) * speed).round() as u32;
        let heard = self.frames.iter().map(|frame| mix(*frame));
        let (left, right): (Vec<f32>, Vec<f32>) = heard.map(<(f32, f32)>::from).unzip();
        self.folder.write("played.wav", rate_hz, &[&left, &right]);
    }

    /// Seconds at which the named part of the list begins.
    fn start(&self, name: &str) -> f64 {
        let name = format!("  {name} ");
        let line = self.list.lines().find(|line| line.contains(&name));
        let time = line.unwrap().split_whitespace().next().unwrap();
        let (minutes, seconds) = time.split_once(':').unwrap();
        minutes.parse::<f64>().unwrap() * 60.0 + seconds.parse::<f64>().unwrap()
    }
}

#[test]
fn on_the_machine_that_recorded_it_nothing_is_a_speed_error() {
    let tape = Tape::of("");
    // 12 % slow, and the tone alone is measured: the ident lies before it.
    tape.play(0.88, |both| both);
    let [from, to] = [1.0, 11.0].map(|after| (tape.start("tone") + after) / 0.88);
    let read = |machine: &str| {
        let more = "--tape-error home-made played.wav";
        let stretch = format!("--from {from} --to {to}");
        (tape.folder).measured(&format!("--machine '{machine}' {stretch} {more}"))
    };
    let here = read("deck 2");
    let text = caution(&here, "reference_recorded_here").unwrap();
    assert!(text.contains("no speed error"), "{text}");
    assert!(here["speed"]["uncertainty_with_reference_percent"].is_null());
    assert!(here["reference"]["error_uncertainty_percent"].is_null());
    assert_eq!(caution(&here, "reference_home_made"), None);
    // The raw figure stays.
    assert!((deviation(&here) + 12.0).abs() < 0.01);
    assert_eq!(here["ident"]["machine"], "Deck 2");
    assert_eq!(here["ident"]["hz"], 3150.0);
    let words = tape.folder.run("read --machine 'deck 2' played.wav");
    words.says(&["RECORDED ON THIS MACHINE", "Tape says"]);

    let other = read("deck 4");
    assert_eq!(caution(&other, "reference_recorded_here"), None);
    assert!(number(&other["speed"]["uncertainty_with_reference_percent"]) >= 3.0);
    // Where it was recorded need not be asked.
    let text = caution(&other, "reference_home_made").unwrap();
    assert!(text.contains("recorded on \"Deck 2\""), "{text}");
}

#[test]
fn one_channel_or_two_that_cancel_are_enough() {
    let tape = Tape::of("");
    let mixes: [fn([f32; 2]) -> [f32; 2]; 3] = [
        |[_, right]| [0.0, right],
        |[left, _]| [left, 0.0],
        |[left, _]| [left, -left],
    ];
    for mix in mixes {
        tape.play(1.2, mix);
        let reading = tape.folder.measured("played.wav");
        assert_eq!(reading["ident"]["machine"], "Deck 2");
    }
}

#[test]
fn a_reference_that_the_tape_does_not_carry_is_named() {
    let tape = Tape::of("");
    let reading = tape.folder.measured("tape.wav --reference tone:3000");
    let text = caution(&reading, "reference_contradicts_tape").unwrap();
    assert!(text.contains("--reference tone:3150"), "{text}");
    let reading = tape.folder.measured("tape.wav");
    assert_eq!(caution(&reading, "reference_contradicts_tape"), None);
}

#[test]
fn without_an_ident_nothing_is_said_of_one() {
    let folder = Folder::new();
    folder.run("tone -o played.wav --seconds 12").ends(0);
    let reading = folder.measured("played.wav --machine 'deck 2'");
    assert!(reading.get("ident").is_none());
    assert_eq!(caution(&reading, "reference_recorded_here"), None);
}

#[test]
fn a_card_takes_over_what_the_tape_says_and_is_refused_where_it_would_lie() {
    let tape = Tape::of("");
    tape.play(1.002, |both| both);
    let measure = |played_on: &str| {
        let machine = "--machine-error 0.2±0.05";
        let card = "tape measure home played.wav --reference 3150";
        (tape.folder).run(&format!("{card} {machine} --played-on '{played_on}'"))
    };
    measure("deck 2").ends(2).complains(&["another machine"]);
    measure("deck 1").ends(0).says(&["recorded on Deck 2"]);
}

#[test]
fn the_list_says_where_everything_is() {
    let tape = Tape::of("--level -6");
    // Loudest of each channel, in dB of full scale, between two times.
    let loudest = |from: f64, to: f64| {
        let [from, to] = [from, to].map(|it| (it * f64::from(tape.rate_hz)) as usize);
        [0, 1].map(|channel| {
            let levels = tape.frames[from..to].iter().map(|it| it[channel].abs());
            20.0 * f64::from(levels.fold(0.0, f32::max)).log10()
        })
    };
    let list = &tape.list;
    for name in ["level", "ident", "tone", "marks", "tone again"] {
        let from = tape.start(name);
        for peak in loudest(from + 0.6, from + 1.8) {
            assert!((peak + 6.0).abs() < 0.2, "{name}: {peak}\n{list}");
        }
    }
    let sides = tape.start("sides") + 0.6;
    let [left, right] = [[0.0, 0.4], [1.3, 1.8]].map(|[a, b]| loudest(sides + a, sides + b));
    assert!(left[0] > -7.0 && left[1] < -80.0, "{left:?}");
    assert!(right[1] > -7.0 && right[0] < -80.0, "{right:?}");
    let silence = tape.start("silence") + 1.0;
    let heard = loudest(silence, silence + 8.0);
    assert!(heard.iter().all(|peak| *peak < -80.0), "{heard:?}");
}

#[test]
fn what_cannot_be_made_is_refused_with_a_way_out() {
    let folder = Folder::new();
    for (more, way_out) in [
        ("--programme", "--machine"),
        (
            "--programme --machine 'a name that is much too long'",
            "room for 24",
        ),
        ("--programme --machine ''", "empty"),
        ("--machine 'deck 2'", "--programme"),
        ("--programme --machine 'deck 2' --marks 1", "--marks"),
    ] {
        folder
            .run(&format!("tone {more}"))
            .ends(2)
            .complains(&[way_out]);
    }
}

#[test]
fn a_whole_programme_is_read_by_its_tone_alone() {
    let tape = Tape::of("");
    for speed in [1.0, 0.95] {
        tape.play(speed, |both| both);
        let reading = tape.folder.measured("played.wav");
        let off = deviation(&reading) - 100.0 * (speed - 1.0);
        assert!(off.abs() < 0.001, "{off}");
        for code in ["speed_moved", "tone_lost"] {
            assert_eq!(caution(&reading, code), None, "{speed}");
        }
    }
}

/// The part that is read is chosen by nobody, so all times are those of the
/// recording.
#[test]
fn times_in_a_programme_are_those_of_the_recording() {
    let tape = Tape::of("");
    let rate = f64::from(tape.rate_hz);
    let again = tape.start("tone again");
    let mut left: Vec<f32> = tape.frames.iter().map(|it| it[0]).collect();
    let dropout_s = again + 5.0;
    let from = (dropout_s * rate) as usize;
    left[from..from + (0.03 * rate) as usize].fill(0.0);
    // The motor stops while the tone still plays.
    let stop_s = again + 9.0;
    left.truncate((stop_s * rate) as usize);
    let (mut played, mut at) = (Vec::new(), 0.0f64);
    let braking_s = 1.0;
    let begins = left.len() as f64 - braking_s * rate;
    while (at as usize) + 1 < left.len() {
        let (below, part) = (at as usize, at.fract() as f32);
        played.push(left[below] + part * (left[below + 1] - left[below]));
        // It comes to rest near the end of what is left.
        let rest = (left.len() as f64 - at) / (braking_s * rate);
        at += if at < begins { 1.0 } else { rest.sqrt() };
        if at >= begins && rest < 0.001 {
            break;
        }
    }
    let folder = &tape.folder;
    folder.write("played.wav", tape.rate_hz, &[&played, &played]);
    let reading = folder.measured("played.wav");
    assert!(caution(&reading, "part_read").is_some(), "{reading}");
    let measured = &reading["measured"];
    let [part_from, part_to] = ["from_s", "to_s"].map(|key| number(&measured[key]));
    assert!((again..again + 5.0).contains(&part_from), "{measured}");
    assert!((part_to - (stop_s - braking_s)).abs() < 1.0, "{measured}");
    let dropout = number(&reading["signal"]["dropouts"][0]["start_s"]);
    assert!((dropout - dropout_s).abs() < 0.005, "{dropout}");
    let lasts_s = played.len() as f64 / rate;
    assert!((number(&reading["duration_s"]) - lasts_s).abs() < 0.01);
    let said = format!("from {part_from:.1} to {part_to:.1} s");
    folder.run("read played.wav").says(&[&said]);
}

/// Where nothing but what stands before the ident was left out, that is said.
#[test]
fn the_part_of_a_programme_that_was_read_is_told_to_scripts() {
    let tape = Tape::of("");
    let again = tape.start("tone again");
    let reading = tape.folder.measured("tape.wav");
    let [from, to] = ["from_s", "to_s"].map(|key| number(&reading["measured"][key]));
    assert!((again..again + 2.5).contains(&from), "{reading}");
    // Both are rounded.
    let off = to - number(&reading["duration_s"]);
    assert!(off.abs() < 0.011, "{reading}");
}
