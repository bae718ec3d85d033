-- Step 6: a generation belongs to the block. What was told of a mark by variety stands for the block from now on:
-- of several varieties the earliest. The rows by variety stay as they are; no event has their keys any more.

ALTER TABLE told ADD COLUMN of_variety TEXT NOT NULL DEFAULT ''; -- the variety it was told of, where a row of it was carried over; '' = told of the block

INSERT INTO told (season, block, insect, event, person, revision, value, day, mail, change, step, of_variety)
WITH by_variety AS (
  SELECT *, substr(event, 1, instr(event, ':') - 1) AS kind, substr(event, instr(event, ':') + 1) AS mark_and_variety
  FROM told
  WHERE (event LIKE 'mark-near:%:%' OR event LIKE 'mark-passed:%:%')
    AND (mail IS NULL OR mail NOT IN (SELECT message_id FROM outbox WHERE state IN ('failed', 'expired', 'folded')))
), newest AS (
  SELECT *, max(revision) FROM by_variety GROUP BY season, block, insect, event, person
), of_mark AS (
  SELECT *, kind || ':' || substr(mark_and_variety, 1, instr(mark_and_variety, ':') - 1) AS block_event,
    substr(mark_and_variety, instr(mark_and_variety, ':') + 1) AS variety,
    iif(instr(value, '/') > 0, substr(value, instr(value, '/') + 1), value) AS middle
  FROM newest WHERE value IS NOT NULL
), earliest AS (
  SELECT *, row_number() OVER (PARTITION BY season, block, insect, block_event, person ORDER BY middle, variety) AS place
  FROM of_mark
)
SELECT season, block, insect, block_event, person,
  1 + coalesce((SELECT max(own.revision) FROM told AS own
                WHERE (own.season, own.block, own.insect, own.event, own.person)
                    = (earliest.season, earliest.block, earliest.insect, earliest.block_event, earliest.person)), 0),
  value, day, mail, change, step, variety
FROM earliest WHERE place = 1;
