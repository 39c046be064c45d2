-- pulse: how much there is of everything that moves.
--
-- KEYS[1]    STRING  revision
-- KEYS[2]    STRING  round    end of the engine's last round, Unix ms
-- KEYS[3]    STREAM  inbox
-- KEYS[4]    ZSET    queue
-- KEYS[5-7]  ZSET    out:0 .. out:2
-- ARGV       none
-- Returns    array: revision, round, sizes of inbox, queue, out:0, out:1, out:2
-- Cost       7 reads, constant
return {
  redis.call('GET', KEYS[1]) or '0',
  redis.call('GET', KEYS[2]) or '0',
  redis.call('XLEN', KEYS[3]),
  redis.call('ZCARD', KEYS[4]),
  redis.call('ZCARD', KEYS[5]),
  redis.call('ZCARD', KEYS[6]),
  redis.call('ZCARD', KEYS[7]),
}
