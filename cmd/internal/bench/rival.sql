-- What a small web service would keep of the same observations: one row each, indexes for the questions that are asked, and
-- a verdict of each turn that a trigger brings up to date with the row. It judges whether the turn is linked, whether the
-- load passed and whether each count has what the list says, and nothing else.
CREATE TABLE list (list text, version int, lines jsonb NOT NULL, PRIMARY KEY (list, version));

CREATE TABLE observation (
  seq bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
  id bytea NOT NULL UNIQUE, -- of what was handed in: twice the same is one
  station text NOT NULL,
  kind text NOT NULL,
  observed timestamptz NOT NULL,
  recorded timestamptz NOT NULL DEFAULT clock_timestamp(),
  set_name text,
  trip bigint, -- the packing's seq
  case_name text,
  load text,
  operator text,
  data jsonb NOT NULL
);
CREATE INDEX observation_set ON observation (set_name, observed);
CREATE INDEX observation_trip ON observation (trip);
CREATE INDEX observation_case ON observation (case_name);
CREATE INDEX observation_load ON observation (load);

CREATE TABLE verdict (trip bigint PRIMARY KEY, set_name text NOT NULL, status text NOT NULL, findings text[] NOT NULL,
  since timestamptz NOT NULL);

CREATE FUNCTION place() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  NEW.case_name := NEW.data->>'case';
  NEW.load := NEW.data->>'load';
  IF NEW.kind = 'set.packed' THEN
    NEW.trip := NEW.seq;
  ELSIF NEW.set_name IS NOT NULL THEN
    SELECT trip INTO NEW.trip FROM observation
      WHERE set_name = NEW.set_name AND kind = 'set.packed' AND observed <= NEW.observed
      ORDER BY observed DESC LIMIT 1;
  END IF;
  RETURN NEW;
END $$;

CREATE FUNCTION judge(of bigint) RETURNS void LANGUAGE plpgsql AS $$
DECLARE
  o record;
  kinds text[] := '{}';
  found text[] := '{}';
  wanted jsonb;
  of_set text;
BEGIN
  FOR o IN SELECT kind, set_name, data FROM observation WHERE trip = of ORDER BY observed, seq LOOP
    of_set := o.set_name;
    kinds := kinds || o.kind;
    IF o.kind = 'set.packed' THEN
      SELECT lines INTO wanted FROM list
        WHERE list = o.data->>'list' AND version = (o.data->>'version')::int;
    ELSIF o.kind = 'set.sterilized' AND o.data->>'result' <> 'passed' THEN
      found := found || 'load-failed'::text;
    ELSIF o.kind IN ('set.checked', 'set.opened') AND o.data->>'tag' <> o.set_name THEN
      found := found || 'tag-differs'::text;
    ELSIF o.kind = 'set.counted' AND EXISTS (
        SELECT FROM jsonb_array_elements(wanted) w
          LEFT JOIN jsonb_array_elements(o.data->'counts') c ON c->'line' = w->'line'
          WHERE (c->>'counted')::int IS DISTINCT FROM (w->>'quantity')::int) THEN
      found := found || ('count-differs ' || (o.data->>'stage'))::text;
    END IF;
  END LOOP;
  IF 'set.opened' = ANY (kinds) AND NOT kinds @> '{list.sealed,set.sterilized}' THEN
    found := found || 'link-missing'::text;
  END IF;
  INSERT INTO verdict VALUES (of, of_set, CASE WHEN found = '{}' THEN 'whole' ELSE 'broken' END, found, clock_timestamp())
    ON CONFLICT (trip) DO UPDATE SET status = excluded.status, findings = excluded.findings, since = excluded.since;
END $$;

CREATE FUNCTION follow() RETURNS trigger LANGUAGE plpgsql AS $$
DECLARE
  t bigint;
BEGIN
  IF NEW.kind = 'list.issued' THEN
    INSERT INTO list VALUES (NEW.data->>'list', (NEW.data->>'version')::int, NEW.data->'lines');
  ELSIF NEW.trip IS NOT NULL THEN
    PERFORM judge(NEW.trip);
  ELSIF NEW.case_name IS NOT NULL THEN
    FOR t IN SELECT DISTINCT trip FROM observation WHERE case_name = NEW.case_name AND trip IS NOT NULL LOOP
      PERFORM judge(t);
    END LOOP;
  END IF;
  RETURN NULL;
END $$;

CREATE TRIGGER place BEFORE INSERT ON observation FOR EACH ROW EXECUTE FUNCTION place();
CREATE TRIGGER follow AFTER INSERT ON observation FOR EACH ROW EXECUTE FUNCTION follow();
