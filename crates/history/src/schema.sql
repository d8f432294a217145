-- One row an entry: a qualification, or a note of what was done to the enclosure.
CREATE TABLE entry (
  id INTEGER PRIMARY KEY,
  kind TEXT NOT NULL CHECK (kind IN ('qualification', 'service')),
  enclosure TEXT NOT NULL,
  -- Day of the test or of the service, YYYY-MM-DD.
  day TEXT NOT NULL CHECK (day GLOB '[0-9][0-9][0-9][0-9]-[0-9][0-9]-[0-9][0-9]'),
  recorded TEXT NOT NULL DEFAULT (strftime('%Y-%m-%dT%H:%M:%SZ', 'now')),
  -- What makes two entries the same.
  identity TEXT NOT NULL UNIQUE,
  -- The entry that this one takes the place of.
  corrects INTEGER REFERENCES entry (id),
  -- The overall verdict, or the kind of service.
  word TEXT NOT NULL,
  configuration TEXT NOT NULL DEFAULT '',
  note TEXT NOT NULL DEFAULT '',
  program TEXT NOT NULL DEFAULT '',
  plan_sha256 TEXT NOT NULL DEFAULT ''
);
CREATE TABLE result (
  entry INTEGER NOT NULL REFERENCES entry (id),
  test TEXT NOT NULL,
  run TEXT NOT NULL DEFAULT '',
  quantity TEXT NOT NULL,
  kind TEXT NOT NULL,
  unit TEXT NOT NULL,
  value REAL,
  standard_uncertainty REAL,
  low REAL,
  high REAL,
  at TEXT NOT NULL DEFAULT '',
  gas TEXT NOT NULL DEFAULT '',
  valid INTEGER NOT NULL,
  PRIMARY KEY (entry, test, run, quantity)
) WITHOUT ROWID;
CREATE TABLE budget (
  entry INTEGER NOT NULL,
  test TEXT NOT NULL,
  run TEXT NOT NULL,
  quantity TEXT NOT NULL,
  source TEXT NOT NULL,
  standard_uncertainty REAL NOT NULL,
  -- Names the instrument and its calibration where the error lasts as long as these; empty where it does not last.
  lasts_with TEXT NOT NULL DEFAULT '',
  FOREIGN KEY (entry, test, run, quantity) REFERENCES result (entry, test, run, quantity)
);
CREATE INDEX budget_of_result ON budget (entry, test, run, quantity);
CREATE TABLE verdict (
  entry INTEGER NOT NULL REFERENCES entry (id),
  test TEXT NOT NULL,
  run TEXT NOT NULL DEFAULT '',
  quantity TEXT NOT NULL,
  -- As the plan states it, and in the unit of the result.
  limit_text TEXT NOT NULL,
  most REAL,
  least REAL,
  verdict TEXT NOT NULL,
  conformance_probability REAL
);
CREATE INDEX verdict_of_entry ON verdict (entry);
CREATE TABLE file (
  entry INTEGER NOT NULL REFERENCES entry (id),
  name TEXT NOT NULL,
  bytes INTEGER NOT NULL,
  sha256 TEXT NOT NULL
);
CREATE INDEX file_of_entry ON file (entry);
CREATE INDEX entry_of_enclosure ON entry (enclosure, day);
CREATE INDEX correction ON entry (corrects) WHERE corrects IS NOT NULL;

-- Results are only ever added.
CREATE TRIGGER entry_stays BEFORE UPDATE ON entry BEGIN SELECT RAISE(ABORT, 'entries are only added'); END;
CREATE TRIGGER entry_is_kept BEFORE DELETE ON entry BEGIN SELECT RAISE(ABORT, 'entries are only added'); END;
CREATE TRIGGER result_stays BEFORE UPDATE ON result BEGIN SELECT RAISE(ABORT, 'results are only added'); END;
CREATE TRIGGER result_is_kept BEFORE DELETE ON result BEGIN SELECT RAISE(ABORT, 'results are only added'); END;
CREATE TRIGGER budget_stays BEFORE UPDATE ON budget BEGIN SELECT RAISE(ABORT, 'results are only added'); END;
CREATE TRIGGER budget_is_kept BEFORE DELETE ON budget BEGIN SELECT RAISE(ABORT, 'results are only added'); END;
CREATE TRIGGER verdict_stays BEFORE UPDATE ON verdict BEGIN SELECT RAISE(ABORT, 'verdicts are only added'); END;
CREATE TRIGGER verdict_is_kept BEFORE DELETE ON verdict BEGIN SELECT RAISE(ABORT, 'verdicts are only added'); END;
