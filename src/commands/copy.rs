//! The digital copy that `--reference recording:FILE` names, read and made
//! ready once for all files.

use std::path::Path;
use std::sync::Arc;

use super::progress::Progress;
use super::{Exit, Failure};
use crate::audio::recording::Recording;
use crate::readings::matching::{Copy, CopyBuilder};
use crate::references::Reference;

/// The copy of a reference that is one; `None` for all others.
pub(super) fn of(reference: &Reference) -> Result<Option<Arc<Copy>>, Failure> {
    match reference {
        Reference::Recording(path) => load(path).map(|copy| Some(Arc::new(copy))),
        _ => Ok(None),
    }
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
