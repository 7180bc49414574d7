"""The plain definitions in SQL: an engine joins by place, each in the way that it does best; the rest is arithmetic."""

REACH_M, ANGLE_DEG, LEAST_M, STRUCTURE_M = 3.0, 10.0, 5.0, 0.5

_COLUMNS = ("sid", "line", "x", "y", "ux", "uy", "len", "start", "ex0", "ey0", "ex1", "ey1")
PAIR_COLUMNS = ", ".join(f"{t}.{c} AS {t}_{c}" for t in ("a", "b") for c in _COLUMNS)

PIECES = f"""
SELECT a_line, b_line, b_sid, a_start + low AS f, a_start + high AS t,
  (high - low) * CASE WHEN (d + across * low) * (d + across * high) < 0
    THEN ((d + across * low) * (d + across * low) + (d + across * high) * (d + across * high))
         / (2 * (abs(d + across * low) + abs(d + across * high)))
    ELSE (abs(d + across * low) + abs(d + across * high)) / 2 END AS total
FROM (
  SELECT *, greatest(f0, CASE WHEN across = 0 THEN 0.0
      ELSE least((-{REACH_M} - d) / nullif(across, 0), ({REACH_M} - d) / nullif(across, 0)) END) AS low,
    least(f1, CASE WHEN across = 0 THEN CASE WHEN abs(d) <= {REACH_M} THEN f1 ELSE -1.0 END
      ELSE greatest((-{REACH_M} - d) / nullif(across, 0), ({REACH_M} - d) / nullif(across, 0)) END) AS high
  FROM (
    SELECT *, greatest(0.0, least(-foot / along, (b_len - foot) / along)) AS f0,
      least(a_len, greatest(-foot / along, (b_len - foot) / along)) AS f1
    FROM (
      SELECT *, a_ux * b_ux + a_uy * b_uy AS along, b_ux * a_uy - b_uy * a_ux AS across,
        b_ux * (a_y - b_y) - b_uy * (a_x - b_x) AS d, (a_x - b_x) * b_ux + (a_y - b_y) * b_uy AS foot
      FROM pairs) AS q
    WHERE along <> 0 AND degrees(atan2(abs(across), abs(along))) <= {ANGLE_DEG}) AS r) AS s
WHERE high > low
"""

RUNS = f"""
SELECT a_line, b_line, max(t) - min(f) AS length, sum(total) / sum(t - f) AS mean
FROM (
  SELECT *, sum(CASE WHEN f - before > 1.0 THEN 1 ELSE 0 END)
    OVER (PARTITION BY a_line, b_line ORDER BY f, t, b_sid ROWS BETWEEN UNBOUNDED PRECEDING AND CURRENT ROW) AS run
  FROM (
    SELECT *, max(t) OVER (PARTITION BY a_line, b_line ORDER BY f, t, b_sid
      ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING) AS before
    FROM ({PIECES}) AS p) AS q) AS r
GROUP BY a_line, b_line, run
HAVING max(t) - min(f) >= {LEAST_M}
"""

_CLEAR = " AND ".join(
    f"(px - {t}_ex{k}) * (px - {t}_ex{k}) + (py - {t}_ey{k}) * (py - {t}_ey{k}) > 0.05 * 0.05"
    for t in ("a", "b") for k in (0, 1)
)  # fmt: skip
_APART = " AND ".join(
    f"(a_ex{k} - b_ex{m}) * (a_ex{k} - b_ex{m}) + (a_ey{k} - b_ey{m}) * (a_ey{k} - b_ey{m}) > 0.001 * 0.001"
    for k in (0, 1) for m in (0, 1)
)  # fmt: skip
CROSSINGS = f"""
SELECT a_line, b_line, px, py
FROM (
  SELECT *, place - lag(place) OVER (PARTITION BY a_line, b_line ORDER BY place) AS gap
  FROM (
    SELECT a_line, b_line, a_start + on_a AS place, px, py
    FROM (
      SELECT *, a_x + a_ux * on_a AS px, a_y + a_uy * on_a AS py
      FROM (
        SELECT *, ((b_x - a_x) * b_uy - (b_y - a_y) * b_ux) / across AS on_a,
          ((b_x - a_x) * a_uy - (b_y - a_y) * a_ux) / across AS on_b
        FROM (SELECT *, a_ux * b_uy - a_uy * b_ux AS across FROM pairs) AS o
        WHERE abs(across) > 1e-9) AS p
      WHERE on_a BETWEEN -1e-8 AND a_len + 1e-8 AND on_b BETWEEN -1e-8 AND b_len + 1e-8) AS q
    WHERE {_APART} AND {_CLEAR}) AS r) AS s
WHERE gap IS NULL OR gap > 0.001
"""

BONDS = """
SELECT a.point, a.line AS a_line, b.line AS b_line FROM held a JOIN held b ON a.point = b.point AND a.line < b.line
"""
