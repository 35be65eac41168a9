WITH node AS (SELECT temperature_c, given_hz, stiffness_n_per_mm, damping_ratio FROM published_stiffness
              WHERE part = :part AND axis = :axis AND temperature_c > :t - 1 AND temperature_c < :t + 1),
     step AS (SELECT max(given_hz) AS low, (SELECT min(given_hz) FROM node WHERE given_hz > :f) AS high
              FROM node WHERE given_hz <= :f),
     corner AS (SELECT node.*, (1 - abs(temperature_c - :t)) * CASE WHEN given_hz = low THEN ln(high / :f) ELSE ln(:f / low) END
                               / ln(high / low) AS share
                FROM node JOIN step ON given_hz = low OR given_hz = high)
SELECT sum(share * stiffness_n_per_mm) AS n_per_mm, sum(share * damping_ratio) AS damping_ratio FROM corner;
