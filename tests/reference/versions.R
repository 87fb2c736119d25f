# With what the reference values were made. Writes versions.csv
p <- c("survival", "sandwich", "clubSandwich", "brglm2", "lme4", "mice", "MASS", "vcd", "metafor")
v <- data.frame(package = c("R", p), version = c(as.character(getRversion()), sapply(p, function(q) as.character(packageVersion(q)))))
write.csv(v, "versions.csv", row.names = FALSE, quote = FALSE)
