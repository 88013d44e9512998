PRAGMA user_version=1;
CREATE TABLE studies (
  id INTEGER PRIMARY KEY, name TEXT NOT NULL, revision INTEGER NOT NULL,
  changed REAL NOT NULL, inputs TEXT NOT NULL);
CREATE TABLE history (
  id INTEGER PRIMARY KEY, study INTEGER NOT NULL, revision INTEGER NOT NULL,
  changed REAL NOT NULL, said TEXT NOT NULL, inputs TEXT NOT NULL);
CREATE TABLE settings (name TEXT PRIMARY KEY, value TEXT NOT NULL);
INSERT INTO studies VALUES(1,'Mill Road',3,1750000200.5,'{"answers": {"zoning": "pass"}, "area": "town", "draws": 500, "offer": {"ticket_price_usd": 14.5}, "replaced": {"line.pitch_m": 6.5}, "seed": 4, "site": "parcel:P01"}');
INSERT INTO history VALUES(1,1,1,1750000000.0,'started','{"answers": {}, "area": "town", "draws": 1000, "offer": {}, "replaced": {}, "seed": 0, "site": "parcel:P01"}');
INSERT INTO history VALUES(2,1,2,1750000100.0,'seed 4','{"answers": {}, "area": "town", "draws": 500, "offer": {}, "replaced": {}, "seed": 4, "site": "parcel:P01"}');
INSERT INTO history VALUES(3,1,3,1750000200.5,'single price','{"answers": {"zoning": "pass"}, "area": "town", "draws": 500, "offer": {"ticket_price_usd": 14.5}, "replaced": {"line.pitch_m": 6.5}, "seed": 4, "site": "parcel:P01"}');
INSERT INTO settings VALUES('units','metric');
