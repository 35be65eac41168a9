WITH node AS (SELECT temperature_c, given_hz, stiffness_n_per_mm, damping_ratio FROM published_stiffness
              WHERE part = :part AND axis = :axis AND temperature_c > :t - 1 AND temperature_c < :t + 1),
     step AS (SELECT max(CASE WHEN given_hz <= :f THEN given_hz END) AS low,
                     coalesce(min(CASE WHEN given_hz > :f THEN given_hz END), max(given_hz)) AS high FROM node),
     corner AS (SELECT node.*, (1 - abs(temperature_c - :t)) * CASE WHEN low = high THEN 1 WHEN given_hz = low
                               THEN ln(high / :f) / ln(high / low) ELSE ln(:f / low) / ln(high / low) END AS share
                FROM node JOIN step ON (given_hz = low OR given_hz = high) AND low <= :f AND :f <= high)
SELECT sum(share * stiffness_n_per_mm) AS n_per_mm, sum(share * damping_ratio) AS damping_ratio FROM corner
HAVING sum(share) > 0.999999;  -- no row outside the table
