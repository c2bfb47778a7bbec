//! `tapewright sheet` writes what a job holds, in every format, whatever the job
//! holds.

use std::fs;

use serde_json::Value;
use tapewright::records::{About, Entry, Label};

use crate::support::job_sheets::{Bench, measurement, sweep};
use crate::support::program::{Answer, Folder};

fn sheet(folder: &Folder, line: &str) -> Answer {
    folder.run(&format!("sheet --data . {line}"))
}

fn page(folder: &Folder, line: &str) -> String {
    sheet(folder, &format!("{line} --output made.html")).ends(0);
    fs::read_to_string(folder.path("made.html")).unwrap()
}

#[test]
fn the_page_lies_beside_the_job_and_holds_what_the_job_does() {
    let folder = Folder::new();
    let bench = Bench::whole(folder.root(), "deck-4");
    let made = sheet(&folder, "--workshop 'Corner bench'");
    made.ends(0).says(&["./jobs/deck-4.html"]);
    let page = fs::read_to_string(bench.path().with_extension("html")).unwrap();
    for words in [
        "<h1>2026-03-01 deck 4</h1>",
        "Corner bench",
        "1.2 % too slow by the test tape that was used: a song of three minutes lasts 2 seconds longer",
        "Held notes waver less than before.",
        "-1.200 ±0.012 slow",
        "follows IEC 60386",
        "New belt, invented part 12",
        "jumps at -0.8 %",
        "bench tape 3150",
        "sample clock",
        "HOLDS",
        "start +0.0",
    ] {
        assert!(page.contains(words), "{words}");
    }
}
