-- What was set aside can be sent again once somebody has mended what was in the way.
-- 1: somebody has asked for that.
ALTER TABLE set_aside ADD COLUMN again INTEGER NOT NULL DEFAULT 0;
-- Of readings: those of commits after the one and up to the other. NULL for records, and for readings that the
-- journal had forgotten.
ALTER TABLE set_aside ADD COLUMN after_commit INTEGER;
ALTER TABLE set_aside ADD COLUMN to_commit INTEGER;
CREATE INDEX set_aside_again ON set_aside (sink, number) WHERE again = 1;
-- Refusals that are not kept any more, since there were too many.
ALTER TABLE outbox ADD COLUMN dropped INTEGER NOT NULL DEFAULT 0;
