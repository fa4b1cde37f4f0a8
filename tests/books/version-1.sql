-- A book of version 1 with one visit, as a fettle of that version left it.
CREATE TABLE visit (
	number INTEGER PRIMARY KEY,
	id TEXT NOT NULL COLLATE NOCASE UNIQUE,
	key TEXT NOT NULL UNIQUE,
	asset TEXT NOT NULL COLLATE NOCASE,
	site TEXT, machine_serial TEXT, unit TEXT, technician TEXT,
	opened_us INTEGER NOT NULL, opened_offset INTEGER NOT NULL,
	closed_us INTEGER, closed_offset INTEGER,
	CHECK (length(id) > 0 AND length(asset) > 0 AND length(key) = 32)
) STRICT;
CREATE INDEX visit_of_asset ON visit (asset);
CREATE TABLE content (
	hash BLOB PRIMARY KEY CHECK (length(hash) = 32),
	size INTEGER NOT NULL CHECK (size = length(bytes)),
	bytes BLOB NOT NULL
) STRICT;
CREATE TABLE evidence (
	visit INTEGER NOT NULL REFERENCES visit (number),
	number INTEGER NOT NULL CHECK (number > 0),
	hash BLOB NOT NULL REFERENCES content (hash),
	kind TEXT NOT NULL, stage TEXT NOT NULL, name TEXT NOT NULL,
	added_us INTEGER NOT NULL, added_offset INTEGER NOT NULL,
	PRIMARY KEY (visit, number), UNIQUE (visit, hash)
) STRICT;
CREATE INDEX evidence_of_content ON evidence (hash);
CREATE TABLE statement (
	number INTEGER PRIMARY KEY,
	visit INTEGER NOT NULL REFERENCES visit (number),
	claim TEXT NOT NULL, text TEXT NOT NULL, by_whom TEXT,
	at_us INTEGER NOT NULL, at_offset INTEGER NOT NULL
) STRICT;
CREATE INDEX statement_of_visit ON statement (visit);
CREATE TABLE waiver (
	number INTEGER PRIMARY KEY,
	visit INTEGER NOT NULL REFERENCES visit (number),
	claim TEXT NOT NULL, because TEXT NOT NULL CHECK (length(because) > 0), by_whom TEXT,
	at_us INTEGER NOT NULL, at_offset INTEGER NOT NULL
) STRICT;
CREATE INDEX waiver_of_visit ON waiver (visit);
PRAGMA application_id = 1718905954;
PRAGMA user_version = 1;
INSERT INTO visit (number, id, key, asset, site, machine_serial, opened_us, opened_offset)
VALUES (1, 'OLD-7-1', '0123456789abcdef0123456789abcdef', 'OLD-7', 'Ferry terminal', 'SN99', 1700000000000000, 60);
INSERT INTO content VALUES (x'324dcf027dd4a30a932c441f365a25e86b173defa4b8e58948253471b81b72cf', 5, CAST('hello' AS BLOB));
INSERT INTO evidence VALUES (1, 1, x'324dcf027dd4a30a932c441f365a25e86b173defa4b8e58948253471b81b72cf', 'note', 'keep', 'note.txt', 1700000100000000, 60);
INSERT INTO statement VALUES (1, 1, 'fit.level', 'level', 'A. Fitter', 1700000200000000, 60);
