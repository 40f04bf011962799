//! How much CPU time reading pictures takes, decoding apart: one line of JSON.
//!
//! ```text
//! cargo run --release -p tympan-marks --example picture_speed -- front.png back.png
//! ```
#![allow(clippy::print_stdout, reason = "a command")]

use tympan_marks::picture::{Expected, Luma, decode, read};

fn main() -> Result<(), String> {
    let mut pictures: Vec<Luma> = Vec::new();
    let start = cpu_ms()?;
    for name in std::env::args().skip(1) {
        let bytes = std::fs::read(&name).map_err(|e| format!("{name}: {e}"))?;
        pictures.extend(decode(&bytes).map_err(|e| format!("{name}: {e}"))?);
    }
    let decoded = cpu_ms()?;
    let outcomes = read(&pictures, &Expected::default());
    let done = cpu_ms()?;
    let megapixels: f64 = pictures
        .iter()
        .map(|p| (p.width() * p.height()) as f64 / 1e6)
        .sum();
    println!(
        "{{\"pictures\": {}, \"megapixels\": {megapixels:.1}, \"decode_ms\": {:.1}, \"read_ms\": \
         {:.1}, \"sheets_read\": {}, \"peak_kb\": {}}}",
        pictures.len(),
        decoded - start,
        done - decoded,
        outcomes.iter().filter(|o| o.result.is_ok()).count(),
        peak_kb().unwrap_or(0),
    );
    Ok(())
}

/// CPU time of this process's only thread so far, ms.
fn cpu_ms() -> Result<f64, String> {
    let text = std::fs::read_to_string("/proc/self/schedstat").map_err(|e| e.to_string())?;
    let nanoseconds = text
        .split_whitespace()
        .next()
        .and_then(|t| t.parse::<f64>().ok());
    nanoseconds
        .map(|ns| ns / 1e6)
        .ok_or_else(|| "no CPU time in /proc/self/schedstat".to_owned())
}

/// The most memory that was ever resident, kB.
fn peak_kb() -> Option<u64> {
    let text = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = text.lines().find(|l| l.starts_with("VmHWM"))?;
    line.split_whitespace().nth(1)?.parse().ok()
}
