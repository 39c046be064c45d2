-- page: a stretch of a ranking with its rows, and how many there are in all.
--
-- KEYS[1]  ZSET  queue or ranks
-- KEYS[2]  HASH  queue:rows or rows   member -> sealed row
-- ARGV[1]  first position, from 0
-- ARGV[2]  how many at most, from 0
-- Returns  array: how many in all, then member, score, row (nil if it is missing), and so on
-- Cost     one read for each 1000 rows, and two
local all = redis.call('ZCARD', KEYS[1])
local out = { all }
local from, n = tonumber(ARGV[1]), tonumber(ARGV[2])
local stop = math.min(from + n, all) -- exclusive
while from < stop do
  local to = math.min(from + 1000, stop) -- Lua unpacks some thousands of values at most
  local found = redis.call('ZRANGE', KEYS[1], from, to - 1, 'WITHSCORES')
  local members = {}
  for i = 1, #found, 2 do members[#members + 1] = found[i] end
  local rows = redis.call('HMGET', KEYS[2], unpack(members))
  for i, member in ipairs(members) do
    out[#out + 1] = member
    out[#out + 1] = found[2 * i]
    out[#out + 1] = rows[i]
  end
  from = to
end
return out
