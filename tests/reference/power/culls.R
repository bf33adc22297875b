# Reference fit of one table of culls (blocks x treatments, 60 fruit a plot), base R glm.
# Rscript culls.R > culls.csv
culls <- c(11, 20, 9, 15, 22, 13, 8, 19, 14, 12, 25, 10)
block <- gl(4, 3)
treatment <- gl(3, 1, 12)
fit <- glm(cbind(culls, 60 - culls) ~ treatment + block, family = quasibinomial,
           control = glm.control(epsilon = 1e-14))
cat("#", R.version.string, "\n")
cat("term,estimate,se\n")
s <- summary(fit)$coefficients
for (i in seq_len(nrow(s))) cat(sprintf("%s,%.12g,%.12g\n", rownames(s)[i], s[i, 1], s[i, 2]))
