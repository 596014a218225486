//! Computes the figures of records of travel tests anew: reads records from the input, one a line (JSON [TV-02]), and prints for each a line,
//! a JSON list of figures. Exit code 2 at the first line that is no record.

use looprig::commission::travel::Record;
use looprig::commission::travel::figures::figures;
use std::io::BufRead;
use std::process::ExitCode;

fn main() -> ExitCode {
    for (n, line) in std::io::stdin().lock().lines().enumerate() {
        let record =
            line.map_err(|e| e.to_string()).and_then(|l| Record::from_json(&l).map_err(|e| e.to_string()));
        match record {
            Ok(record) => println!("{}", serde_json::json!(figures(&record))),
            Err(e) => {
                eprintln!("line {}: {e}", n + 1);
                return ExitCode::from(2);
            }
        }
    }
    ExitCode::SUCCESS
}
