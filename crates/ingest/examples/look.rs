#![allow(clippy::all, clippy::pedantic, clippy::print_stdout, missing_docs)]
use tightfit_ingest::*;
fn main() {
    for f in std::env::args().skip(1) {
        println!("=== {f}");
        match read(std::path::Path::new(&f), &ReadOptions::default()) {
            Err(e) => println!("  ERR {e} | {}", e.hint()),
            Ok(r) => {
                for c in &r.choices { println!("  {}: {} -- {}", c.what, c.value, c.because); }
                println!("  rows read {} used {} aside {}", r.account.rows_read(), r.account.rows_used(), r.account.rows_set_aside());
                for a in r.account.by_reason() { println!("    {} x {} {:?}", a.count, a.reason, &a.lines[..a.lines.len().min(5)]); }
                println!("  base {:?} span {:?} cad {:?} gaps {} phases {}", r.time_base, r.span_s.map(|(a,b)| (jiff::Timestamp::from_nanosecond((a*1e9) as i128).map(|t|t.to_string()).unwrap_or_default(), b-a)), r.cadence_s, r.gaps_s.len(), r.phases.len());
                for c in &r.columns { if c.channel.is_some() { println!("    col {} '{}' {:?} {:?} -- {}", c.position, c.header, c.channel, c.unit, c.because); } }
                println!("    other: {}", r.columns.iter().filter(|c| c.channel.is_none()).map(|c| c.header.as_str()).collect::<Vec<_>>().join(" | "));
                for s in &r.series { println!("    series {} n {} first {:?} {} last {}", s.channel, s.len(), s.time_s.first(), s.value[0], s.value[s.len()-1]); }
                for n in &r.notes { println!("  note {n}"); }
                for n in &r.stuck { println!("  stuck {n:?}"); }
                for q in &r.questions { println!("  Q{} {:?} {}\n      -> {}", if q.blocking {"!"} else {" "}, q.topic, q.text, q.answer); }
            }
        }
    }
}
