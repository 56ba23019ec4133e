-- Written by python -m tests.databases.newest, from the migrations.
CREATE TABLE "_sqlite_migrations" (
   "id" INTEGER PRIMARY KEY,
   "migration_set" TEXT,
   "name" TEXT,
   "applied_at" TEXT
);
CREATE UNIQUE INDEX "idx__sqlite_migrations_migration_set_name"
    ON "_sqlite_migrations" ("migration_set", "name");
CREATE TABLE athletes (
        id TEXT NOT NULL PRIMARY KEY,
        name TEXT NOT NULL,
        time_zone TEXT NOT NULL,
        date_of_birth TEXT CHECK (length(date_of_birth) = 10),
        training_status TEXT
    , language TEXT, calendar TEXT) STRICT, WITHOUT ROWID
    ;
CREATE TABLE check_ins (
        id TEXT NOT NULL UNIQUE,
        athlete_id TEXT NOT NULL REFERENCES athletes (id) ON DELETE CASCADE,
        date TEXT NOT NULL CHECK (length(date) = 10),
        revision INTEGER NOT NULL,
        body TEXT NOT NULL,
        received_at TEXT NOT NULL,
        posted_by TEXT,
        UNIQUE (athlete_id, date, revision)
    ) STRICT
    ;
CREATE TRIGGER check_ins_stay_as_they_are BEFORE UPDATE ON check_ins
    BEGIN SELECT RAISE(ABORT, 'a check-in is never changed, only followed by a revision'); END;
CREATE TABLE advice (
        position INTEGER PRIMARY KEY AUTOINCREMENT,
        id TEXT NOT NULL UNIQUE,
        check_in_id TEXT NOT NULL REFERENCES check_ins (id),
        athlete_id TEXT NOT NULL REFERENCES athletes (id) ON DELETE CASCADE,
        date TEXT NOT NULL CHECK (length(date) = 10),
        verdict TEXT NOT NULL,
        rule_id TEXT,
        rule_set_digest TEXT NOT NULL,
        record TEXT NOT NULL,
        decided_at TEXT NOT NULL,
        supersedes TEXT REFERENCES advice (id)
    ) STRICT
    ;
CREATE INDEX advice_of_athlete ON advice (athlete_id, date);
CREATE INDEX advice_of_date ON advice (date, athlete_id);
CREATE INDEX advice_of_check_in ON advice (check_in_id);
CREATE UNIQUE INDEX advice_superseded_once ON advice (supersedes)
    WHERE supersedes IS NOT NULL
    ;
CREATE TRIGGER advice_stays_as_it_is BEFORE UPDATE ON advice
    BEGIN SELECT RAISE(ABORT, 'advice is never changed, only superseded'); END;
CREATE TABLE sessions (
        id TEXT NOT NULL UNIQUE,
        athlete_id TEXT NOT NULL REFERENCES athletes (id) ON DELETE CASCADE,
        starts_at TEXT NOT NULL,
        body TEXT NOT NULL,
        received_at TEXT NOT NULL,
        posted_by TEXT
    ) STRICT
    ;
CREATE INDEX sessions_of_athlete ON sessions (athlete_id, starts_at, id);
CREATE TABLE replays (
        id TEXT NOT NULL UNIQUE,
        rule_set TEXT NOT NULL,
        rule_set_digest TEXT NOT NULL,
        first_date TEXT CHECK (length(first_date) = 10),
        last_date TEXT CHECK (length(last_date) = 10),
        state TEXT NOT NULL,
        run INTEGER NOT NULL DEFAULT 0,
        problem TEXT,
        mornings INTEGER,
        asked_at TEXT NOT NULL,
        changed_at TEXT NOT NULL,
        asked_by TEXT
    ) STRICT
    ;
CREATE TABLE replay_steps (
        replay_id TEXT NOT NULL REFERENCES replays (id) ON DELETE CASCADE,
        first_date TEXT NOT NULL CHECK (length(first_date) = 10),
        last_date TEXT NOT NULL CHECK (length(last_date) = 10),
        mornings INTEGER NOT NULL,
        result TEXT NOT NULL,
        PRIMARY KEY (replay_id, first_date)
    ) STRICT, WITHOUT ROWID
    ;
CREATE TRIGGER replays_leave_with_any_athlete AFTER DELETE ON athletes
    BEGIN DELETE FROM replays; END;
CREATE TABLE rule_sets (
        position INTEGER PRIMARY KEY AUTOINCREMENT,
        name TEXT NOT NULL,
        version TEXT NOT NULL,
        digest TEXT NOT NULL UNIQUE,
        summary TEXT NOT NULL,
        text TEXT NOT NULL,
        findings TEXT NOT NULL,
        published_at TEXT NOT NULL,
        published_by TEXT,
        UNIQUE (name, version)
    ) STRICT
    ;
CREATE TRIGGER rule_sets_stay_as_they_are BEFORE UPDATE ON rule_sets
    BEGIN SELECT RAISE(ABORT, 'a published rule set is never changed'); END;
CREATE TRIGGER rule_sets_stay BEFORE DELETE ON rule_sets
    BEGIN SELECT RAISE(ABORT, 'a published rule set is never deleted'); END;
CREATE TABLE activations (
        position INTEGER PRIMARY KEY AUTOINCREMENT,
        digest TEXT,
        from_date TEXT CHECK (length(from_date) = 10),
        athlete_id TEXT REFERENCES athletes (id) ON DELETE CASCADE,
        takes_back INTEGER UNIQUE REFERENCES activations (position),
        at TEXT NOT NULL,
        by TEXT,
        CHECK (digest IS NOT NULL OR athlete_id IS NOT NULL OR takes_back IS NOT NULL)
    ) STRICT
    ;
CREATE INDEX activations_of_athlete ON activations (athlete_id, position);
CREATE TRIGGER activations_stay_as_they_are BEFORE UPDATE ON activations
    BEGIN SELECT RAISE(ABORT, 'an activation is never changed, only taken back'); END;
CREATE TRIGGER activations_leave_with_their_athlete BEFORE DELETE ON activations
    WHEN OLD.athlete_id IS NULL OR EXISTS (SELECT 1 FROM athletes WHERE id = OLD.athlete_id)
    BEGIN SELECT RAISE(ABORT, 'an activation is never deleted, except with its athlete'); END;
CREATE TABLE shadow_candidates (
        position INTEGER PRIMARY KEY AUTOINCREMENT,
        digest TEXT,
        at TEXT NOT NULL,
        by TEXT
    ) STRICT
    ;
CREATE TABLE shadow_verdicts (
        advice_id TEXT NOT NULL PRIMARY KEY REFERENCES advice (id) ON DELETE CASCADE,
        digest TEXT NOT NULL,
        verdict TEXT,
        rule_id TEXT
    ) STRICT, WITHOUT ROWID
    ;
CREATE INDEX shadow_verdicts_of_candidate ON shadow_verdicts (digest);
CREATE TRIGGER shadow_candidates_stay_as_they_are BEFORE UPDATE ON shadow_candidates
        BEGIN SELECT RAISE(ABORT, 'what is known of the shadow is never changed'); END;
CREATE TRIGGER shadow_verdicts_stay_as_they_are BEFORE UPDATE ON shadow_verdicts
        BEGIN SELECT RAISE(ABORT, 'what is known of the shadow is never changed'); END;
CREATE TRIGGER shadow_candidates_stay BEFORE DELETE ON shadow_candidates
    BEGIN SELECT RAISE(ABORT, 'what is known of the shadow is never deleted'); END;
CREATE TABLE ledger (
        position INTEGER PRIMARY KEY CHECK (position > 0),
        kind TEXT NOT NULL CHECK (kind IN ('advice', 'act')),
        at TEXT NOT NULL,
        record_digest TEXT NOT NULL CHECK (length(record_digest) = 64),
        previous_digest TEXT NOT NULL,
        digest TEXT NOT NULL CHECK (length(digest) = 64),
        act TEXT,
        body TEXT,
        CHECK ((kind = 'act') = (act IS NOT NULL AND body IS NOT NULL))
    ) STRICT
    ;
CREATE TABLE advice_entries (
        position INTEGER PRIMARY KEY REFERENCES ledger (position),
        advice_position INTEGER NOT NULL UNIQUE REFERENCES advice (position) ON DELETE CASCADE,
        salt TEXT NOT NULL
    ) STRICT
    ;
CREATE TRIGGER ledger_stays_as_it_is BEFORE UPDATE ON ledger
    BEGIN SELECT RAISE(ABORT, 'an entry of the ledger is never changed'); END;
CREATE TRIGGER ledger_stays BEFORE DELETE ON ledger
    BEGIN SELECT RAISE(ABORT, 'an entry of the ledger is never deleted'); END;
CREATE TRIGGER ledger_grows_at_its_end BEFORE INSERT ON ledger
    WHEN (NEW.position - 1, NEW.previous_digest) IS NOT (
        SELECT coalesce(max(position), 0), coalesce(digest, '0000000000000000000000000000000000000000000000000000000000000000') FROM ledger
    )
    BEGIN SELECT RAISE(ABORT, 'the ledger grows at its end only'); END;
CREATE TRIGGER advice_entries_stay_as_they_are BEFORE UPDATE ON advice_entries
    BEGIN SELECT RAISE(ABORT, 'whose entry it is never changes'); END;
CREATE TRIGGER advice_entries_leave_with_their_advice BEFORE DELETE ON advice_entries
    WHEN EXISTS (SELECT 1 FROM advice WHERE position = OLD.advice_position)
    BEGIN SELECT RAISE(ABORT, 'an entry lets go of its advice only when that is erased'); END;
CREATE TABLE retention (
        position INTEGER PRIMARY KEY AUTOINCREMENT,
        before TEXT NOT NULL CHECK (length(before) = 10),
        at TEXT NOT NULL
    ) STRICT
    ;
CREATE TRIGGER retention_stays_as_it_is BEFORE UPDATE ON retention
    BEGIN SELECT RAISE(ABORT, 'until when was forgotten is never changed'); END;
CREATE TRIGGER retention_stays BEFORE DELETE ON retention
    BEGIN SELECT RAISE(ABORT, 'until when was forgotten is never deleted'); END;
CREATE TRIGGER check_ins_leaves_with_its_athlete_or_its_time BEFORE DELETE ON check_ins
        WHEN EXISTS (SELECT 1 FROM athletes WHERE id = OLD.athlete_id)
         AND OLD.date >= coalesce((SELECT max(before) FROM retention), '')
        BEGIN
            SELECT RAISE(ABORT, 'a check-in is never deleted before its time, but with its athlete');
        END;
CREATE TRIGGER advice_leaves_with_its_athlete_or_its_time BEFORE DELETE ON advice
        WHEN EXISTS (SELECT 1 FROM athletes WHERE id = OLD.athlete_id)
         AND OLD.date >= coalesce((SELECT max(before) FROM retention), '')
        BEGIN
            SELECT RAISE(ABORT, 'advice is never deleted before its time, but with its athlete');
        END;
CREATE TABLE private_addresses (
        id TEXT NOT NULL PRIMARY KEY,
        hash TEXT NOT NULL UNIQUE,
        purpose TEXT NOT NULL CHECK (purpose IN ('read', 'check-in')),
        athlete_id TEXT NOT NULL REFERENCES athletes (id) ON DELETE CASCADE,
        label TEXT,
        created_at TEXT NOT NULL,
        created_by TEXT,
        revoked_at TEXT,
        last_used_on TEXT CHECK (length(last_used_on) = 10)
    ) STRICT
    ;
CREATE INDEX private_addresses_of_athlete ON private_addresses (athlete_id);
CREATE TABLE plans (
        athlete_id TEXT NOT NULL REFERENCES athletes (id) ON DELETE CASCADE,
        date TEXT NOT NULL CHECK (length(date) = 10),
        plan TEXT NOT NULL,
        posted_at TEXT NOT NULL,
        posted_by TEXT,
        PRIMARY KEY (athlete_id, date)
    ) STRICT, WITHOUT ROWID
    ;
CREATE TABLE service_secrets (
        name TEXT NOT NULL PRIMARY KEY,
        value BLOB NOT NULL,
        created_at TEXT NOT NULL
    ) STRICT, WITHOUT ROWID
    ;
CREATE TABLE "keys" (
        id TEXT NOT NULL PRIMARY KEY,
        hash TEXT NOT NULL UNIQUE,
        role TEXT NOT NULL CHECK (role IN ('coach', 'clinician', 'poster', 'athlete')),
        athlete_id TEXT REFERENCES athletes (id) ON DELETE CASCADE,
        label TEXT,
        created_at TEXT NOT NULL,
        revoked_at TEXT,
        CHECK (role <> 'athlete' OR athlete_id IS NOT NULL)
    ) STRICT
    ;
CREATE INDEX keys_of_athlete ON keys (athlete_id);
CREATE TABLE sign_ins (
        hash TEXT NOT NULL PRIMARY KEY,
        key_id TEXT NOT NULL REFERENCES keys (id) ON DELETE CASCADE,
        began_at TEXT NOT NULL,
        ends_at TEXT NOT NULL
    ) STRICT, WITHOUT ROWID
    ;
CREATE INDEX sign_ins_with_key ON sign_ins (key_id);
CREATE INDEX sign_ins_by_end ON sign_ins (ends_at);
CREATE TABLE concerns (
        id TEXT NOT NULL PRIMARY KEY,
        athlete_id TEXT NOT NULL REFERENCES athletes (id) ON DELETE CASCADE,
        kind TEXT NOT NULL
    ) STRICT, WITHOUT ROWID
    ;
CREATE INDEX concerns_of_athlete ON concerns (athlete_id);
CREATE TABLE concern_events (
        position INTEGER PRIMARY KEY REFERENCES ledger (position),
        concern_id TEXT NOT NULL REFERENCES concerns (id) ON DELETE CASCADE,
        number INTEGER NOT NULL CHECK (number > 0),
        event TEXT NOT NULL,
        on_date TEXT NOT NULL CHECK (length(on_date) = 10),
        state TEXT NOT NULL,
        body TEXT NOT NULL,
        salt TEXT NOT NULL,
        UNIQUE (concern_id, number)
    ) STRICT
    ;
CREATE TRIGGER concerns_stay_as_they_are BEFORE UPDATE ON concerns
        BEGIN SELECT RAISE(ABORT, 'what is known of a concern is never changed'); END;
CREATE TRIGGER concern_events_stay_as_they_are BEFORE UPDATE ON concern_events
        BEGIN SELECT RAISE(ABORT, 'what is known of a concern is never changed'); END;
CREATE TRIGGER concern_events_grow_at_their_end BEFORE INSERT ON concern_events
    WHEN NEW.number IS NOT (
        SELECT coalesce(max(number), 0) + 1 FROM concern_events WHERE concern_id = NEW.concern_id
    )
    BEGIN SELECT RAISE(ABORT, 'the history of a concern grows at its end only'); END;
CREATE TRIGGER concerns_leave_with_their_athlete_or_once_ended BEFORE DELETE ON concerns
    WHEN EXISTS (SELECT 1 FROM athletes WHERE id = OLD.athlete_id)
     AND NOT EXISTS (
        SELECT 1 FROM (
            SELECT state, on_date FROM concern_events WHERE concern_id = OLD.id
            ORDER BY number DESC LIMIT 1
        )
        WHERE state = 'closed' AND on_date < (SELECT max(before) FROM retention)
     )
    BEGIN
        SELECT RAISE(ABORT, 'a concern that has not ended is deleted only with its athlete');
    END;
CREATE TRIGGER concern_events_leave_with_their_concern BEFORE DELETE ON concern_events
    WHEN EXISTS (SELECT 1 FROM concerns WHERE id = OLD.concern_id)
    BEGIN SELECT RAISE(ABORT, 'an event is never deleted, except with its concern'); END;
CREATE TABLE vouched_rows (
        number INTEGER PRIMARY KEY AUTOINCREMENT,
        of_table TEXT NOT NULL,
        key TEXT NOT NULL,
        salt TEXT NOT NULL,
        UNIQUE (of_table, key)
    ) STRICT
    ;
CREATE TRIGGER vouched_rows_stay_as_they_are BEFORE UPDATE ON vouched_rows
    BEGIN SELECT RAISE(ABORT, 'the number of a row is never changed'); END;
CREATE INDEX ledger_acts ON ledger (position)
    WHERE act IS NOT NULL AND act <> 'rows-written'
    ;
CREATE TABLE groups (
        id TEXT NOT NULL PRIMARY KEY,
        name TEXT NOT NULL
    ) STRICT, WITHOUT ROWID
    ;
CREATE TABLE group_members (
        group_id TEXT NOT NULL REFERENCES groups (id) ON DELETE CASCADE,
        athlete_id TEXT NOT NULL REFERENCES athletes (id) ON DELETE CASCADE,
        PRIMARY KEY (group_id, athlete_id)
    ) STRICT, WITHOUT ROWID
    ;
CREATE INDEX groups_of_athlete ON group_members (athlete_id);
CREATE TABLE introduced_sheets (
        id TEXT NOT NULL PRIMARY KEY,
        layout TEXT NOT NULL CHECK (layout IN ('check-ins', 'sessions')),
        meanings TEXT NOT NULL,
        introduced_at TEXT NOT NULL,
        introduced_by TEXT
    ) STRICT, WITHOUT ROWID
    ;
