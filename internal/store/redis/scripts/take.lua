-- take: lease the texts of a class that may go out, oldest not-before first.
--
-- KEYS[1]  ZSET  out:<class>  member text, score not-before or end of lease, Unix ms
-- KEYS[2]  HASH  out:texts    text -> sealed text
-- ARGV[1]  now, Unix ms
-- ARGV[2]  end of the lease, Unix ms
-- ARGV[3]  how many at most, 1 .. 1000
-- Returns  array: id, score it had, sealed text, and so on; empty when none may go
-- Cost     2 reads, and one ZADD or ZREM a text
local found = redis.call('ZRANGEBYSCORE', KEYS[1], '-inf', ARGV[1], 'WITHSCORES', 'LIMIT', 0, ARGV[3])
if #found == 0 then return found end
local ids = {}
for i = 1, #found, 2 do ids[#ids + 1] = found[i] end
local texts = redis.call('HMGET', KEYS[2], unpack(ids))
local out = {}
for i, id in ipairs(ids) do
  if texts[i] then
    redis.call('ZADD', KEYS[1], ARGV[2], id)
    out[#out + 1] = id
    out[#out + 1] = found[2 * i]
    out[#out + 1] = texts[i]
  else
    -- An id without its text cannot be sent and would be found again for ever.
    redis.call('ZREM', KEYS[1], id)
  end
end
return out
