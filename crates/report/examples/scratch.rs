use std::path::Path;
use tightfit_report::*;
fn main() {
    for p in std::env::args().skip(1) {
        let path = Path::new(&p);
        match read_plan(path) {
            Err(e) => println!("{e}"),
            Ok(plan) => {
                let q = qualify(plan, &folders(path, None), |_| {});
                println!("{}", text::qualification(&q.result, text::Paint::default()));
                for (t, e) in q.errors() {
                    println!("ERR {t}: {e}\n  {}", e.hint());
                }
            }
        }
    }
}
