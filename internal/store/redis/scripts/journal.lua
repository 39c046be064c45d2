-- journal: a stretch of a household's journal.
--
-- KEYS[1]  LIST  j:<household>   sealed entries, oldest first
-- ARGV[1]  first position, from 0; negative counts from the end
-- ARGV[2]  how many at most, from 1
-- Returns  array of entries
-- Cost     2 reads; the second walks to the stretch from the nearer end
local from = tonumber(ARGV[1])
if from < 0 then from = math.max(0, redis.call('LLEN', KEYS[1]) + from) end
return redis.call('LRANGE', KEYS[1], string.format('%d', from), string.format('%d', from + tonumber(ARGV[2]) - 1))
