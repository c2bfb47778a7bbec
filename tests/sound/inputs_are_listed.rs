//! `tapewright inputs` shows each input once, says which is the default, and
//! keeps the noise of the sound libraries to itself.

use std::process::{Command, Output};

use crate::support::environment::in_private_environment;
use crate::support::sound_server::with_sound_server;

fn inputs() -> Output {
    Command::new(env!("CARGO_BIN_EXE_tapewright"))
        .arg("inputs")
        .output()
        .expect("the program runs")
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).expect("UTF-8")
}

#[test]
fn the_monitor_of_a_sound_server_is_the_default_input() {
    with_sound_server(&[], |_server| {
        let output = inputs();
        assert!(output.status.success(), "{}", output.status);
        assert_eq!(text(&output.stderr), "");
        let shown = text(&output.stdout);
        let (inputs, outputs) = shown.split_once("Sound outputs").expect("both lists");
        for list in [inputs, outputs] {
            assert_eq!(list.matches("[default]").count(), 1, "{shown}");
            assert!(list.contains("alsa:default"), "{shown}");
            assert!(list.contains("stereo, 48000 Hz"), "{shown}");
        }
        for plugin in [
            "null",
            "lavrate",
            "jack",
            "oss",
            "upmix",
            "samplerate",
            "speex",
        ] {
            assert!(!shown.contains(plugin), "{plugin} in {shown}");
        }
    });
}

#[test]
fn a_computer_without_inputs_is_told_so() {
    // A default that leads to a card that is not there.
    let nowhere = "</usr/share/alsa/alsa.conf>\npcm.!default { type hw card 31 }\n";
    in_private_environment(&[], nowhere, |_| {
        let output = inputs();
        assert!(output.status.success(), "{}", output.status);
        assert_eq!(text(&output.stderr), "");
        let shown = text(&output.stdout);
        assert!(!shown.contains("alsa:default"), "{shown}");
        if !shown.contains("Sound inputs") {
            assert!(shown.contains("no sound input"), "{shown}");
            assert!(shown.contains("--rehearse"), "{shown}");
        }
    });
}
