//! Headers in lower case without accents, so that words can be looked for.

/// A header in lower case without accents, words apart.
pub(crate) struct Folded {
    /// With single blanks between words and at both ends.
    pub(crate) spaced: String,
    /// Without any blanks, for compound words.
    pub(crate) joined: String,
}

impl Folded {
    pub(crate) fn new(text: &str) -> Self {
        let mut spaced = String::from(" ");
        let mut before = ' ';
        for c in text.chars() {
            let starts_word = c.is_uppercase() && before.is_lowercase();
            if starts_word && !spaced.ends_with(' ') {
                spaced.push(' ');
            }
            before = c;
            if c == 'Δ' || c == '∆' {
                spaced.push('d');
                continue;
            }
            for lower in c.to_lowercase() {
                match plain_letters(lower) {
                    Some(plain) => spaced.push_str(plain),
                    None if lower.is_alphanumeric() => spaced.push(lower),
                    None if lower == '\'' || lower == '.' => {}
                    None if !spaced.ends_with(' ') => spaced.push(' '),
                    None => {}
                }
            }
        }
        if !spaced.ends_with(' ') {
            spaced.push(' ');
        }
        let joined = spaced.chars().filter(|c| *c != ' ').collect();
        Self { spaced, joined }
    }

    /// One of the words occurs, alone or inside a compound; words of up to three letters only alone.
    pub(crate) fn has(&self, words: &[&str]) -> bool {
        words.iter().any(|word| {
            if word.len() <= 3 || word.contains(' ') {
                self.spaced.contains(&format!(" {word} "))
            } else {
                self.joined.contains(word)
            }
        })
    }

    /// One of the words occurs as a whole word.
    pub(crate) fn has_word(&self, words: &[&str]) -> bool {
        words.iter().any(|word| self.spaced.contains(&format!(" {word} ")))
    }

    pub(crate) fn is_hour(&self) -> bool {
        self.is(&["h", "hh", "hr", "hour", "hours", "uur", "stunde", "heure", "hora"])
    }

    pub(crate) fn is_milliseconds(&self) -> bool {
        self.has_word(&[
            "ms",
            "msec",
            "millis",
            "millisecond",
            "milliseconds",
            "millisekunden",
            "milliseconde",
            "milisegundos",
        ])
    }

    pub(crate) fn is_microseconds(&self) -> bool {
        self.has_word(&["us", "usec", "micros", "microseconds"])
    }

    pub(crate) fn is_nanoseconds(&self) -> bool {
        self.has_word(&["ns", "nsec", "nanos", "nanoseconds"])
    }

    pub(crate) fn is_epoch(&self) -> bool {
        self.has(&["epoch", "unix", "timestamp", "posix"])
    }

    pub(crate) fn is_date(&self) -> bool {
        self.has(&["date", "datum", "fecha", "timestamp", "zeitstempel", "datetime"])
    }

    /// The time something began or ended, not that of the reading.
    pub(crate) fn is_begin(&self) -> bool {
        self.has(&["begin", "begtim", "start", "ende", "finish", "since jan", "sincejan1"])
            && !self.has(&["since start", "since the start", "seit start", "depuis", "since"])
    }

    pub(crate) fn is_day_fraction(&self) -> bool {
        self.has(&["day fraction", "dayfraction", "fraction of day", "since midnight", "tagesbruchteil", "decimal day"])
    }

    /// `hours`, `Sekunden`: a column named after its unit.
    pub(crate) fn whole_word_unit(&self) -> Option<&'static str> {
        match self.spaced.trim() {
            "hours" | "stunden" | "heures" | "horas" | "uren" | "time hours" | "time h" | "elapsed hours" => Some("h"),
            "minutes" | "minuten" | "minutos" | "time min" | "elapsed minutes" => Some("min"),
            "seconds" | "sekunden" | "secondes" | "segundos" | "seconden" | "sec" | "secs" | "time s"
            | "elapsed seconds" | "elapsed s" => Some("s"),
            "milliseconds" | "millisekunden" | "millis" => Some("ms"),
            "days" | "tage" | "jours" | "dias" | "dagen" => Some("d"),
            _ => None,
        }
    }

    pub(crate) fn is(&self, words: &[&str]) -> bool {
        words.contains(&self.spaced.trim())
    }
}

fn plain_letters(c: char) -> Option<&'static str> {
    Some(match c {
        'ä' | 'á' | 'à' | 'â' | 'ã' => "a",
        'é' | 'è' | 'ê' | 'ë' => "e",
        'í' | 'ì' | 'î' | 'ï' => "i",
        'ö' | 'ó' | 'ò' | 'ô' => "o",
        'ü' | 'ú' | 'ù' | 'û' => "u",
        'ñ' => "n",
        'ç' => "c",
        'ß' => "ss",
        '₂' | '²' => "2",
        'δ' => "d",
        'θ' | 'ϑ' => "t",
        _ => return None,
    })
}
