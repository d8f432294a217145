//! One channel over several exports.

use tightfit_ingest::Status;

use super::ChannelData;

/// Exports of one logger in turn may repeat some rows; sensors side by side have more than this share of time in common.
const COMMON: f64 = 0.5;

/// Joins channels that follow one another in time to one record, a later part from the end of the earlier one on. What
/// runs side by side, or stands in one file, are several sensors and stays apart. In the order of the files.
pub(super) fn join(found: Vec<ChannelData<'_>>) -> Vec<ChannelData<'_>> {
    if found.windows(2).all(|pair| pair[0].file == pair[1].file) {
        return found;
    }
    let mut parts: Vec<(usize, ChannelData<'_>)> = found.into_iter().enumerate().collect();
    parts.sort_by(|(_, a), (_, b)| first_s(a).total_cmp(&first_s(b)));
    let mut wholes: Vec<Whole<'_>> = Vec::new();
    for (place, part) in parts {
        match wholes.iter_mut().find(|whole| whole.goes_on_with(&part)) {
            Some(whole) => whole.append(place, &part),
            None => wholes.push(Whole { place, files: vec![part.file.clone()], channel: part }),
        }
    }
    wholes.sort_by_key(|whole| whole.place);
    wholes.into_iter().map(|whole| whole.channel).collect()
}

struct Whole<'p> {
    /// Place of its first part among the files.
    place: usize,
    files: Vec<String>,
    channel: ChannelData<'p>,
}

impl Whole<'_> {
    fn goes_on_with(&self, part: &ChannelData<'_>) -> bool {
        let own = &self.channel;
        let shorter_s = (last_s(own) - first_s(own)).min(last_s(part) - first_s(part));
        !self.files.contains(&part.file)
            && own.reference == part.reference
            && own.standard_reference == part.standard_reference
            && last_s(part) > last_s(own)
            && last_s(own) - first_s(part) <= COMMON * shorter_s
    }

    fn append(&mut self, place: usize, part: &ChannelData<'_>) {
        self.place = self.place.min(place);
        self.files.push(part.file.clone());
        let whole = &mut self.channel;
        let end_s = last_s(whole);
        let from = part.time_s.partition_point(|time| *time <= end_s);
        if !whole.status.is_empty() || !part.status.is_empty() {
            whole.status.resize(whole.time_s.len(), Status::Measured);
            let rest = part.status.get(from..).unwrap_or_default();
            whole.status.extend_from_slice(rest);
            whole.status.resize(whole.time_s.len() + part.time_s.len() - from, Status::Measured);
        }
        whole.time_s.extend_from_slice(&part.time_s[from..]);
        whole.value.extend_from_slice(&part.value[from..]);
    }
}

fn first_s(channel: &ChannelData<'_>) -> f64 {
    channel.time_s.first().copied().unwrap_or(f64::INFINITY)
}

fn last_s(channel: &ChannelData<'_>) -> f64 {
    channel.time_s.last().copied().unwrap_or(f64::NEG_INFINITY)
}
