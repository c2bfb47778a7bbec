#![no_main]

#[path = "../../support/hostile.rs"]
#[allow(dead_code)] // each target uses a part of it
mod hostile;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    hostile::job(bytes);
});
