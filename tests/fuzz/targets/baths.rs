//! Fuzz target, see parsers.rs.
#![no_main]

#[path = "../parsers.rs"]
mod parsers;

libfuzzer_sys::fuzz_target!(init: parsers::forgive_decoders(), |data: &[u8]| {
    parsers::baths(data);
});
