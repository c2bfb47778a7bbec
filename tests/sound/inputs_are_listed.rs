//! `tapewright inputs` shows each input once, says which is the default, and
//! keeps the noise of the sound libraries to itself.

use crate::support::environment::{NOWHERE, in_private_environment};
use crate::support::program::{Answer, program};
use crate::support::sound_server::with_sound_server;

fn inputs() -> String {
    let answer = Answer::of(&mut program("inputs"));
    assert_eq!(answer.ends(0).errors, "");
    answer.text
}

#[test]
fn the_monitor_of_a_sound_server_is_the_default_input() {
    with_sound_server(&[], |_server| {
        let shown = inputs();
        let (inputs, outputs) = shown.split_once("Sound outputs").expect("both lists");
        for list in [inputs, outputs] {
            assert_eq!(list.matches("[default]").count(), 1, "{shown}");
            assert!(list.contains("alsa:default"), "{shown}");
            assert!(list.contains("stereo, 48000 Hz"), "{shown}");
        }
        let plugins = "null lavrate jack oss upmix samplerate speex";
        for plugin in plugins.split(' ') {
            assert!(!shown.contains(plugin), "{plugin} in {shown}");
        }
    });
}

#[test]
fn a_computer_without_inputs_is_told_so() {
    in_private_environment(&[], NOWHERE, |_| {
        let shown = inputs();
        assert!(!shown.contains("alsa:default"), "{shown}");
        if !shown.contains("Sound inputs") {
            assert!(shown.contains("no sound input"), "{shown}");
            assert!(shown.contains("practise"), "{shown}");
        }
    });
}
