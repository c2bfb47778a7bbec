//! A thousand sounds that are no test tone are refused: as recordings, and live.
//! `TAPEWRIGHT_SEEDS=9` takes a set that nothing was tried on.

use std::env;

use crate::support::refused;

/// Of each kind that refusal was tuned on, and of each that it was not.
const EACH: u64 = 20;
const FOREIGN: u64 = 27;

/// Seeds that nothing else uses.
const SET: u64 = 731;

#[test]
fn a_thousand_sounds_give_no_usable_tone() {
    let asked = env::var("TAPEWRIGHT_SEEDS").ok();
    let set = asked.map_or(SET, |it| it.parse().expect("a number of a set"));
    let kinds = refused::all(EACH, FOREIGN, set);
    refused::table(&kinds);
    for kind in &kinds {
        for (nth, heard) in kind.heard.iter().enumerate() {
            if let Some(got) = &heard.accepted {
                println!("{} {nth}: {:?} {:?}", kind.name, got.speed, got.cautions);
            }
        }
    }
    let count: usize = kinds.iter().map(|kind| kind.heard.len()).sum();
    assert!(count >= 1000, "{count}");
    refused::check(&kinds);
}

#[test]
fn what_is_a_tone_is_read_right_or_not_at_all() {
    let all = refused::tone_like(FOREIGN, SET);
    refused::tone_like_table(&all);
    refused::check_tone_like(&all);
}
