# Reference values of power, from base R's power.anova.test, power.t.test, pf and pt.
# Rscript power.R > power.csv   (the first comment line of the output names the version)
cat("#", R.version.string, "\n")
cat("case,value\n")
line <- function(name, value) cat(sprintf("%s,%.12g\n", name, value))
# completely randomised, t groups of n, means 0 ... 0 1
for (g in c(3, 5)) for (n in c(3, 4, 8)) {
  m <- c(rep(0, g - 1), 1)
  line(sprintf("crd_%d_%d", g, n),
       power.anova.test(groups = g, n = n, between.var = var(m), within.var = 0.36)$power)
}
# complete blocks and Latin square: the same noncentrality, other degrees of freedom
block <- function(g, df2, r) {
  m <- c(rep(0, g - 1), 1)
  ncp <- r * sum((m - mean(m))^2) / 0.36
  pf(qf(0.95, g - 1, df2), g - 1, df2, ncp, lower.tail = FALSE)
}
line("blocks_5_3", block(5, 8, 3))
line("blocks_5_4", block(5, 12, 4))
line("blocks_5_6", block(5, 20, 6))
line("latin_5", block(5, 12, 5))
# one difference against the check: noncentral t
for (n in c(3, 6, 12))
  line(sprintf("two_sample_t_%d", n),
       power.t.test(n = n, delta = 1, sd = 0.8, strict = TRUE)$power)
line("two_sample_delta_6", power.t.test(n = 6, power = 0.8, sd = 0.8, strict = TRUE)$delta)
