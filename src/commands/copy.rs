//! What is measured by; the digital copy that `--reference recording:FILE` names
//! is read and made ready once for all files.

use std::path::Path;
use std::sync::Arc;

use super::progress::Progress;
use super::{Exit, Failure};
use crate::audio::recording::Recording;
use crate::readings::Target;
use crate::readings::matching::{Copy, CopyBuilder};
use crate::references::Reference;

/// The target of a reference.
pub(super) fn target(reference: &Reference) -> Result<Target, Failure> {
    Ok(match reference {
        Reference::Passage(time) | Reference::Marks(time) => Target::Time(*time),
        Reference::Tone(_) | Reference::ToneAuto | Reference::Note(..) => Target::Frequency,
        Reference::Recording(path) => Target::Copy(Arc::new(load(path)?)),
    })
}

fn load(path: &Path) -> Result<Copy, Failure> {
    let mut recording = Recording::open(path).map_err(|error| {
        let message = format!("the copy cannot be used: {error}");
        Failure::new(Exit::File, message)
    })?;
    let format = recording.format();
    let mut builder = CopyBuilder::new(format.rate_hz, format.channels);
    let mut progress = Progress::of_recording(recording.total_frames(), format.rate_hz);
    let mut block = Vec::new();
    while recording.next_block(&mut block).is_some() {
        builder.push(&block);
        progress.at(recording.read_frames());
    }
    builder.finish().map_err(|error| {
        let message = format!("{}: {error}", path.display());
        Failure::new(Exit::NoReference, message)
    })
}
