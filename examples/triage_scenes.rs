//! Scratch.
use looprig::cli::triage_measure::{Valves, measure, page, read, scenes, written};
use looprig::commission::triage::Knowledge;
fn main() {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let n = |i: usize| args[i].parse::<u64>().unwrap();
    let began = std::time::Instant::now();
    match args[0].as_str() {
        "scenes" => {
            let valves = Valves { first: n(1), count: n(2) as usize };
            let all = scenes(valves, n(3) as usize, &|n, of| {
                if n % 50 == 0 {
                    eprintln!("{n} of {of}")
                }
            });
            let all = all.unwrap_or_else(|_| panic!());
            print!("{}", written(&all));
            eprintln!("{} scenes {:?}", all.len(), began.elapsed());
        }
        _ => {
            let seen = read(&std::fs::read_to_string(&args[1]).unwrap(), "x").unwrap_or_else(|_| panic!());
            let text = args.get(3).map(|p| std::fs::read_to_string(p).unwrap());
            let k = match text {
                Some(t) => Knowledge::from_text(&t, "k".as_ref()),
                None => Knowledge::own(),
            };
            let k = k.unwrap_or_else(|e| panic!("{e}"));
            print!("{}", page(&measure(&k, &seen, n(2)), "x"));
            eprintln!("{:?}", began.elapsed());
        }
    }
}
