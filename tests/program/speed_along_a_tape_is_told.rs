//! `tapewright read` tells the speed at the start, in the middle and at the
//! end of a long recording, as text and in JSON, and is silent about the tape
//! where the recording is short.

use crate::support::program::{Folder, number, write_wav};
use tapewright::rehearsal::{MachineConfig, SimulatedMachine};

/// What a deck plays whose speed falls by half a percent a minute.
fn recording(seconds: usize) -> Folder {
    let config = MachineConfig {
        channels: 1,
        pack_percent_per_min: -0.5,
        ..MachineConfig::deck()
    };
    let rate_hz = config.rate_hz;
    let mut samples = vec![0.0; rate_hz as usize * seconds];
    SimulatedMachine::new(config, 5).fill(&mut samples);
    let folder = Folder::new();
    write_wav(&folder.path("side-a.wav"), rate_hz, 1, samples);
    folder
}

#[test]
fn a_long_recording_is_told_by_its_thirds() {
    let folder = recording(72);
    let object = folder.measured("side-a.wav");
    let along = &object["along"];
    // The middles of the thirds: 12, 36 and 60 s at half a percent a minute.
    for (place, truth) in [("start", -0.1), ("middle", -0.3), ("end", -0.5)] {
        let at = &along[place];
        let off = number(&at["deviation_percent"]) - truth;
        assert!(off.abs() < 0.03, "{place}: {along}");
        assert!(number(&at["uncertainty_percent"]) < 0.1);
    }
    let known = number(&along["change_uncertainty_percent"]);
    let off = number(&along["change_percent"]) + 0.4;
    assert!(off.abs() < known.max(0.03), "{along}");
    assert_eq!(along["sloping"], true, "{along}");
    let text = folder.run("read side-a.wav").text;
    let told = text.lines().find(|line| line.contains("Ends"));
    let starts = told.is_some_and(|line| line.contains("start -0.1"));
    assert!(starts, "{text}");
}

#[test]
fn a_short_recording_says_nothing_of_the_tape() {
    let folder = recording(20);
    let object = folder.measured("side-a.wav");
    assert_eq!(object.get("along"), None);
    folder.run("read side-a.wav").ends(0).never_says(&["Ends"]);
}
