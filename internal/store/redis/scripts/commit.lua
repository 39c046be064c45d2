-- commit: write everything that follows from one decision, or nothing.
--
-- KEYS[1]   STREAM  inbox
-- KEYS[2]   ZSET    due            member household, score its next instant, Unix ms
-- KEYS[3]   ZSET    queue          member case, score answer-by, Unix ms
-- KEYS[4]   HASH    queue:rows     case -> sealed row
-- KEYS[5-7] ZSET    out:0 .. out:2 member text, score not-before, Unix ms; one a class
-- KEYS[8]   HASH    out:texts      text -> sealed text
-- KEYS[9]   ZSET    ranks          member household, score the negative of its rank
-- KEYS[10]  HASH    rows           household -> sealed summary row
-- KEYS[11]  STRING  revision
-- then for each household
--           STRING  s:<household>  "<version>:" and the sealed state
--           LIST    j:<household>  sealed journal entries, oldest first
-- then      SET     p:<phone>      households; for each household those dropped, then those added
-- ARGV[1]   stream id of the inbox item decided on, or ""
-- ARGV[2]   how many households, 0 .. 64
-- ARGV[3]   digits of the classes whose texts may change, "" to "012"
-- then for each household 13 arguments
--           id | version decided on | "<new version>:" and state | due, Unix ms, 0 none |
--           row: 0 leave, 1 set, 2 remove | negative of rank | row |
--           how many entries | cases | withdrawn | sent | phones dropped | phones added
-- then for each household, as many as it said
--           entries | cases: id, answer-by, 1 set or 0 remove, row | ids withdrawn |
--           sent: id, class, not-before, text
-- Returns   0 written; -1 the inbox item is gone; n > 0 the n-th household has another version
-- Cost      one command an item, and up to 14 that look before the first write;
--           at most 4096 items (the caller's limit)
local fixed, head, width = 11, 3, 13
local households = tonumber(ARGV[2])

if ARGV[1] ~= '' and #redis.call('XRANGE', KEYS[1], ARGV[1], ARGV[1]) == 0 then
  return -1
end
local cases, rows = 0, 0
for i = 1, households do
  local a = head + (i - 1) * width
  local is = redis.call('GETRANGE', KEYS[fixed + 2 * i - 1], 0, 20)
  local was = ARGV[a + 2]
  if was == '0' then
    if is ~= '' then return i end
  elseif string.sub(is, 1, #was + 1) ~= was .. ':' then
    return i
  end
  if ARGV[a + 8] ~= '0' then redis.call('LLEN', KEYS[fixed + 2 * i]) end
  if ARGV[a + 5] ~= '0' then rows = 1 end
  cases = cases + tonumber(ARGV[a + 9])
end

-- A script that fails half-way keeps what it wrote (Redis rolls nothing back).
-- So every key that will be written is asked something that fails if it holds
-- another type, before the first write.
if households > 0 then redis.call('ZCARD', KEYS[2]) end
if cases > 0 then
  redis.call('ZCARD', KEYS[3])
  redis.call('HLEN', KEYS[4])
end
if ARGV[3] ~= '' then
  for i = 1, #ARGV[3] do redis.call('ZCARD', KEYS[5 + string.byte(ARGV[3], i) - 48]) end
  redis.call('HLEN', KEYS[8])
end
if rows > 0 then
  redis.call('ZCARD', KEYS[9])
  redis.call('HLEN', KEYS[10])
end
local phone = fixed + 2 * households
for k = phone + 1, #KEYS do redis.call('SCARD', KEYS[k]) end

-- The first write is the one that can still fail, on a revision that is no number.
redis.call('INCR', KEYS[11])
local v = head + households * width -- the last argument read
for i = 1, households do
  local a = head + (i - 1) * width
  local id = ARGV[a + 1]
  redis.call('SET', KEYS[fixed + 2 * i - 1], ARGV[a + 3])
  if ARGV[a + 4] == '0' then
    redis.call('ZREM', KEYS[2], id)
  else
    redis.call('ZADD', KEYS[2], ARGV[a + 4], id)
  end
  if ARGV[a + 5] == '1' then
    redis.call('ZADD', KEYS[9], ARGV[a + 6], id)
    redis.call('HSET', KEYS[10], id, ARGV[a + 7])
  elseif ARGV[a + 5] == '2' then
    redis.call('ZREM', KEYS[9], id)
    redis.call('HDEL', KEYS[10], id)
  end
  local last = v + tonumber(ARGV[a + 8])
  while v < last do -- Lua unpacks some thousands of values at most
    local to = math.min(v + 500, last)
    redis.call('RPUSH', KEYS[fixed + 2 * i], unpack(ARGV, v + 1, to))
    v = to
  end
  for _ = 1, tonumber(ARGV[a + 9]) do
    if ARGV[v + 3] == '1' then
      redis.call('ZADD', KEYS[3], ARGV[v + 2], ARGV[v + 1])
      redis.call('HSET', KEYS[4], ARGV[v + 1], ARGV[v + 4])
    else
      redis.call('ZREM', KEYS[3], ARGV[v + 1])
      redis.call('HDEL', KEYS[4], ARGV[v + 1])
    end
    v = v + 4
  end
  for _ = 1, tonumber(ARGV[a + 10]) do
    v = v + 1
    if redis.call('HDEL', KEYS[8], ARGV[v]) == 1 then
      for k = 5, 7 do redis.call('ZREM', KEYS[k], ARGV[v]) end
    end
  end
  for _ = 1, tonumber(ARGV[a + 11]) do
    if redis.call('HSETNX', KEYS[8], ARGV[v + 1], ARGV[v + 4]) == 1 then
      redis.call('ZADD', KEYS[5 + tonumber(ARGV[v + 2])], ARGV[v + 3], ARGV[v + 1])
    end
    v = v + 4
  end
  for _ = 1, tonumber(ARGV[a + 12]) do
    phone = phone + 1
    redis.call('SREM', KEYS[phone], id)
  end
  for _ = 1, tonumber(ARGV[a + 13]) do
    phone = phone + 1
    redis.call('SADD', KEYS[phone], id)
  end
end
if ARGV[1] ~= '' then redis.call('XDEL', KEYS[1], ARGV[1]) end
return 0
